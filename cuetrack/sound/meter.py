"""Loudness of a whole programme, block by block: ITU-R BS.1770-4, with the windows and the range of EBU R 128.

Momentary (0.4 s) and short-term (3 s) loudness after EBU Tech 3341, loudness range after Tech 3342. All
are taken from the energy of steps of 100 ms, so memory grows by a few numbers a second.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.loudness import LOUDNESS_OFFSET_LU, k_weighting_at

# BS.1770-4 Annex 1: blocks of 400 ms that overlap by 75 %; gates at -70 LUFS and 10 LU under the rest.
STEPS_PER_SECOND = 10
_MOMENTARY_STEPS, _SHORT_TERM_STEPS = 4, 30
_ABSOLUTE_GATE_LUFS, _RELATIVE_GATE_LU = -70.0, -10.0
# EBU Tech 3342.
_RANGE_GATE_LU, _RANGE_PERCENTILES = -20.0, (10.0, 95.0)
# The filter of a silent block is not run once its memory has died away, 300 dB down.
_FORGOTTEN = 1e-15


class LoudnessMeter:
    """Takes the blocks of one programme; each programme needs a meter of its own.

    Args:
        rate_hz: 8000 or more.
        channel_weights: one for each channel of a block: 1.0 in front, 1.41 at the side or behind, 0.0 for
            low-frequency effects; 2.0 where one channel is played, the same, on two.
    """

    def __init__(self, rate_hz: int, channel_weights: Sequence[float]) -> None:
        self._rate_hz = rate_hz
        self._weights = np.asarray(channel_weights, np.float64)
        self._sections = np.array([(*section.b, *section.a) for section in k_weighting_at(rate_hz)])
        self._memory = np.zeros((len(self._sections), 2, len(self._weights)))
        self._frames = 0
        # The energy of each step; the last one may not be full yet.
        self._energies: list[float] = [0.0]

    def add(self, block: NDArray[np.float32]) -> None:
        """Takes the next block: shape (frames, channels), any number of frames."""
        if not len(block):
            return
        if not block.any() and float(np.abs(self._memory).max()) < _FORGOTTEN:
            power = np.zeros(len(block))
        else:
            power = np.square(self._weighted(block)) @ self._weights
        self._add_steps(power)

    def _weighted(self, block: NDArray[np.float32]) -> NDArray[np.float64]:
        # scipy's filters take most of a second to import.
        from scipy.signal import sosfilt

        weighted, self._memory = sosfilt(self._sections, block, axis=0, zi=self._memory)
        return np.asarray(weighted, np.float64)

    def _add_steps(self, power: NDArray[np.float64]) -> None:
        first, end = self._frames, self._frames + len(power)
        starts = [0]
        while (boundary := self._boundary(len(self._energies) + len(starts) - 1)) < end:
            starts.append(boundary - first)
        sums = np.add.reduceat(power, [start for start in starts if start < len(power)])
        self._energies[-1] += float(sums[0])
        self._energies += [float(energy) for energy in sums[1:]]
        self._frames = end

    def _boundary(self, steps: int) -> int:
        """The frame at which `steps` steps are full; rounded once, so none drifts."""
        return (2 * steps * self._rate_hz + STEPS_PER_SECOND) // (2 * STEPS_PER_SECOND)

    def _window_powers(self, steps: int) -> NDArray[np.float64]:
        """Mean square of every full window of `steps` steps, 100 ms apart."""
        full = len(self._energies) if self._frames >= self._boundary(len(self._energies)) else -1
        sums = np.concatenate([[0.0], np.cumsum(self._energies[:full])])
        if len(sums) <= steps:
            return np.empty(0)
        boundaries = np.array([self._boundary(step) for step in range(len(sums))])
        return (sums[steps:] - sums[:-steps]) / (boundaries[steps:] - boundaries[:-steps])

    def momentary_lufs(self) -> NDArray[np.float64]:
        """Loudness of every window of 0.4 s, 100 ms apart; empty for less than that."""
        return _lufs(self._window_powers(_MOMENTARY_STEPS))

    def short_term_lufs(self) -> NDArray[np.float64]:
        """Loudness of every window of 3 s, 100 ms apart; empty for less than that."""
        return _lufs(self._window_powers(_SHORT_TERM_STEPS))

    def integrated_lufs(self) -> float:
        """Gated loudness of all that was added; minus infinity if nothing passes the gates.

        A programme shorter than one window is taken whole, without gates.
        """
        if self._frames < self._boundary(_MOMENTARY_STEPS):
            return float(_lufs(np.array([sum(self._energies) / max(1, self._frames)]))[0])
        loud = _above(self._window_powers(_MOMENTARY_STEPS), _ABSOLUTE_GATE_LUFS)
        loud = _gated(loud, _RELATIVE_GATE_LU)
        return float(_lufs(np.array([loud.mean()]))[0]) if len(loud) else float("-inf")

    def loudness_range_lu(self) -> float:
        """How far the soft and the loud passages lie apart; 0 for less than 3 s."""
        loud = _above(self._window_powers(_SHORT_TERM_STEPS), _ABSOLUTE_GATE_LUFS)
        loud = _gated(loud, _RANGE_GATE_LU)
        if not len(loud):
            return 0.0
        soft_lufs, loud_lufs = np.percentile(_lufs(loud), _RANGE_PERCENTILES)
        return float(loud_lufs - soft_lufs)


def _lufs(powers: NDArray[np.float64]) -> NDArray[np.float64]:
    """BS.1770-4 equation 3, of weighted mean squares."""
    with np.errstate(divide="ignore"):
        return LOUDNESS_OFFSET_LU + 10 * np.log10(powers)


def _above(powers: NDArray[np.float64], gate_lufs: float) -> NDArray[np.float64]:
    return powers[_lufs(powers) > gate_lufs]


def _gated(powers: NDArray[np.float64], under_mean_lu: float) -> NDArray[np.float64]:
    """What is louder than the mean of all by `under_mean_lu`."""
    if not len(powers):
        return powers
    return _above(powers, float(_lufs(np.array([powers.mean()]))[0]) + under_mean_lu)
