"""Loudness of a whole programme, block by block: ITU-R BS.1770-4, with the windows of EBU R 128.

Momentary (0.4 s) and short-term (3 s) loudness after EBU Tech 3341, loudness range after Tech 3342. All
are taken from the energy of steps of 100 ms, so memory grows by a few numbers a second.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from cuetrack.sound.k_weighting import MEMORY_VALUES, UNIT_FRAMES, KWeighting
from cuetrack.sound.loudness import LOUDNESS_OFFSET_LU

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
        channels = len(self._weights)
        self._filter = KWeighting(rate_hz, channels)
        self._memory = np.zeros((channels, MEMORY_VALUES))
        # Whole units are measured as they fill up, so the lengths of the blocks change no bit.
        self._unit = np.zeros((channels, UNIT_FRAMES), np.float32)
        self._filled, self._measured_frames = 0, 0
        # Of every step so far; the last may have only begun.
        self._energies = array("d")

    def add(self, block: NDArray[np.float32]) -> None:
        """Takes the next block: shape (frames, channels), any number of frames."""
        taken = 0
        while taken < len(block):
            piece = block[taken : taken + UNIT_FRAMES - self._filled]
            self._unit[:, self._filled : self._filled + len(piece)] = piece.T
            taken += len(piece)
            self._filled += len(piece)
            if self._filled == UNIT_FRAMES:
                full = self._full_steps(self._measured_frames)
                energies, self._memory = self._measured()
                self._energies[full:] = array("d", energies)
                self._measured_frames, self._filled = self._frames, 0

    @property
    def _frames(self) -> int:
        """Of all that was added."""
        return self._measured_frames + self._filled

    def _measured(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The energy so far of every step that the unit reaches into, and the filter's memory after it."""
        first = self._full_steps(self._measured_frames)
        ends = self._boundaries(first + 1, self._full_steps(self._frames - 1)) - self._measured_frames
        self._unit[:, self._filled :] = 0.0
        if not self._unit.any() and float(np.abs(self._memory).max()) < _FORGOTTEN:
            energies, memory = np.zeros(1 + len(ends)), np.zeros_like(self._memory)
        else:
            weighted, memory = self._filter.weighted(self._unit, self._memory)
            power = np.square(weighted, out=weighted)[:, : self._filled]
            energies = self._weights @ np.add.reduceat(power, [0, *ends], axis=1)
        energies[0] += sum(self._energies[first:])
        return energies, memory

    def _full_steps(self, frames: int) -> int:
        """How many steps are full after so many frames."""
        return (STEPS_PER_SECOND * frames + STEPS_PER_SECOND // 2 - 1) // self._rate_hz

    def _boundaries(self, first: int, last: int) -> NDArray[np.int64]:
        """The frames at which `first` to `last` steps are full; each rounded once, so none drifts."""
        # In place, as elsewhere here: of ten hours each array takes 3 MB.
        boundaries = np.arange(first, last + 1)
        boundaries *= 2 * self._rate_hz
        boundaries += STEPS_PER_SECOND
        boundaries //= 2 * STEPS_PER_SECOND
        return boundaries

    def _step_energies(self, step_gains: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """That of each of `steps`, as `integrated_lufs` takes them."""
        energies = np.array(self._energies)
        if self._filled:
            full = self._full_steps(self._measured_frames)
            energies = np.concatenate([energies[:full], self._measured()[0]])
        return energies if step_gains is None else energies * np.square(step_gains)

    def _window_powers(
        self, steps: int, step_gains: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Mean square of every full window of `steps` steps, 100 ms apart."""
        full = self._full_steps(self._frames)
        if full < steps:
            return np.empty(0)
        energies, boundaries = self._step_energies(step_gains)[:full], self._boundaries(0, full)
        powers = sliding_window_view(energies, steps).sum(axis=1)
        powers /= boundaries[steps:] - boundaries[:-steps]
        return np.asarray(powers, np.float64)

    def momentary_lufs(self) -> NDArray[np.float64]:
        """Loudness of every window of 0.4 s, 100 ms apart; empty for less than that."""
        return _lufs(self._window_powers(_MOMENTARY_STEPS))

    def short_term_lufs(self) -> NDArray[np.float64]:
        """Loudness of every window of 3 s, 100 ms apart; empty for less than that."""
        return _lufs(self._window_powers(_SHORT_TERM_STEPS))

    @property
    def steps(self) -> int:
        """How many steps of 100 ms have begun."""
        return self._full_steps(self._frames - 1) + 1 if self._frames else 0

    def integrated_lufs(self, step_gains: NDArray[np.float64] | None = None) -> float:
        """Gated loudness of all that was added; minus infinity if nothing passes the gates.

        A programme shorter than one window is taken whole, without gates. With `step_gains`, one for each
        of `steps`, it is what would be measured if each step were so much louder (linear).
        """
        powers = self._window_powers(_MOMENTARY_STEPS, step_gains)
        if not len(powers):
            return _mean_lufs(self._step_energies(step_gains).sum(keepdims=True) / max(1, self._frames))
        return _mean_lufs(_gated(_above(powers, _ABSOLUTE_GATE_LUFS), _RELATIVE_GATE_LU))

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
        lufs = np.log10(powers)
    lufs *= 10
    lufs += LOUDNESS_OFFSET_LU
    return np.asarray(lufs, np.float64)


def _mean_lufs(powers: NDArray[np.float64]) -> float:
    return float(_lufs(powers.mean(keepdims=True))[0]) if len(powers) else float("-inf")


def _above(powers: NDArray[np.float64], gate_lufs: float) -> NDArray[np.float64]:
    return powers[_lufs(powers) > gate_lufs]


def _gated(powers: NDArray[np.float64], under_mean_lu: float) -> NDArray[np.float64]:
    """What is louder than the mean of all by `under_mean_lu`."""
    return _above(powers, _mean_lufs(powers) + under_mean_lu)
