"""A programme → the same under the K-weighting of ITU-R BS.1770-4, Annex 1, a unit of frames at a time.

A recursive filter goes from one sample to the next, which takes long in Python and in a compiled loop too.
But what comes out of a run of samples, and what the filter then remembers, is a sum of shares of what
went into it: its memory before and the samples. So one matrix serves every run, and the memories before
the runs come, in the same way, from those before groups of runs. The result is the filter's to within
the rounding of float64.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.loudness import Biquad, k_weighting_at

# Found by measuring. The products of matrices stay so small that their library starts no threads.
_RUN_FRAMES, _RUNS_IN_GROUP, _GROUPS = 32, 16, 32
_RUNS = _RUNS_IN_GROUP * _GROUPS
UNIT_FRAMES = _RUN_FRAMES * _RUNS
# Two sections with two values each.
MEMORY_VALUES = 4
_RUNS_AT_ONCE = 128


class KWeighting:
    """The filter for `channels` channels at `rate_hz`; see `loudness.k_weighting_at`."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        run = _run_matrix(k_weighting_at(rate_hz))
        self._to_samples = run[:, :_RUN_FRAMES].copy()
        self._left_by_run = run[MEMORY_VALUES:, _RUN_FRAMES:].copy()
        group = _chain_matrix(run[:MEMORY_VALUES, _RUN_FRAMES:], _RUNS_IN_GROUP)
        self._to_runs = group[:, :-MEMORY_VALUES].copy()
        self._left_by_group = group[MEMORY_VALUES:, -MEMORY_VALUES:].copy()
        self._to_groups = _chain_matrix(group[:MEMORY_VALUES, -MEMORY_VALUES:], _GROUPS)
        # Each row begins with the memory before it. They are filled anew for each unit.
        self._runs = np.zeros((channels, _RUNS, MEMORY_VALUES + _RUN_FRAMES))
        self._run_groups = np.zeros((channels, _GROUPS, MEMORY_VALUES * (1 + _RUNS_IN_GROUP)))
        self._unit = np.zeros((channels, MEMORY_VALUES * (1 + _GROUPS)))
        self._weighted = np.zeros((channels * _RUNS // _RUNS_AT_ONCE, _RUNS_AT_ONCE, _RUN_FRAMES))

    def weighted(
        self, samples: NDArray[np.float32], memory: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """A unit under the weighting, and the filter's memory after it.

        Args:
            samples: shape (channels, UNIT_FRAMES).
            memory: what the unit before left, shape (channels, MEMORY_VALUES); zeros at the beginning.

        Returns:
            Shape (channels, UNIT_FRAMES), overwritten by the next call; and a new memory.
        """
        channels = len(samples)
        runs, groups, unit = self._runs, self._run_groups, self._unit
        runs[:, :, MEMORY_VALUES:] = samples.reshape(channels, _RUNS, _RUN_FRAMES)
        left_by_runs = runs[:, :, MEMORY_VALUES:] @ self._left_by_run
        groups[:, :, MEMORY_VALUES:] = left_by_runs.reshape(channels, _GROUPS, -1)
        unit[:, :MEMORY_VALUES] = memory
        unit[:, MEMORY_VALUES:] = (groups[:, :, MEMORY_VALUES:] @ self._left_by_group).reshape(channels, -1)
        before_groups = unit @ self._to_groups
        groups[:, :, :MEMORY_VALUES] = before_groups[:, :-MEMORY_VALUES].reshape(channels, _GROUPS, -1)
        runs[:, :, :MEMORY_VALUES] = (groups @ self._to_runs).reshape(channels, _RUNS, -1)
        np.matmul(runs.reshape(-1, _RUNS_AT_ONCE, runs.shape[2]), self._to_samples, out=self._weighted)
        return self._weighted.reshape(channels, -1), before_groups[:, -MEMORY_VALUES:].copy()


def _run_matrix(sections: Sequence[Biquad]) -> NDArray[np.float64]:
    """What goes into a run → what comes out: (memory and samples before, samples and memory after).

    The filter (transposed direct form II), run sample by sample for each single 1 that can go into it.
    """
    cases = np.eye(MEMORY_VALUES + _RUN_FRAMES)
    memory = list(cases[:, :MEMORY_VALUES].T)
    columns = []
    for sample in cases[:, MEMORY_VALUES:].T:
        for index, section in enumerate(sections):
            (b0, b1, b2), (_, a1, a2), (one, two) = section.b, section.a, memory[2 * index : 2 * index + 2]
            result = b0 * sample + one
            memory[2 * index : 2 * index + 2] = b1 * sample - a1 * result + two, b2 * sample - a2 * result
            sample = result
        columns.append(sample)
    return np.column_stack([*columns, *memory])


def _chain_matrix(passed_on: NDArray[np.float64], links: int) -> NDArray[np.float64]:
    """A memory, and what each of `links` links leaves in it → the memories before each and after the last.

    `passed_on` is what becomes of a memory in a link by itself.
    """
    cases = np.eye(MEMORY_VALUES * (1 + links))
    memory = cases[:, :MEMORY_VALUES]
    before = []
    for link in range(1, links + 1):
        before.append(memory)
        memory = memory @ passed_on + cases[:, MEMORY_VALUES * link : MEMORY_VALUES * (link + 1)]
    return np.column_stack([*before, memory])
