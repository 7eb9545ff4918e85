"""Loudness of a whole programme, block by block: ITU-R BS.1770-4, with the windows of EBU R 128.

Momentary (0.4 s) and short-term (3 s) loudness after EBU Tech 3341, loudness range after Tech 3342. All
are taken from the energy of steps of 100 ms, so memory grows by a few numbers a second.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
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
        # Whole seconds are measured as they fill up, so the lengths of the blocks change no bit.
        self._waiting: list[NDArray[np.float32]] = []
        self._waiting_frames = 0
        self._energies: list[float] = []

    def add(self, block: NDArray[np.float32]) -> None:
        """Takes the next block: shape (frames, channels), any number of frames."""
        self._waiting.append(np.array(block, np.float32))
        self._waiting_frames += len(block)
        if self._waiting_frames < self._rate_hz:
            return
        waiting = np.concatenate(self._waiting)
        full = len(waiting) // self._rate_hz * self._rate_hz
        for start in range(0, full, self._rate_hz):
            energies, self._memory = self._measured(waiting[start : start + self._rate_hz])
            self._energies += energies.tolist()
        self._waiting, self._waiting_frames = [waiting[full:].copy()], len(waiting) - full

    def _measured(self, second: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The energy of each step of a second, or of the beginning of one, and the filter's memory then."""
        starts = [start for step in range(STEPS_PER_SECOND) if (start := self._boundary(step)) < len(second)]
        if not second.any() and float(np.abs(self._memory).max()) < _FORGOTTEN:
            return np.zeros(len(starts)), np.zeros_like(self._memory)
        # scipy's filters take most of a second to import.
        from scipy.signal import sosfilt

        weighted, memory = sosfilt(self._sections, second, axis=0, zi=self._memory)
        return np.add.reduceat(np.square(weighted) @ self._weights, starts), memory

    def _boundary(self, steps: int) -> int:
        """The frame at which `steps` steps are full; rounded once, so none drifts."""
        return (2 * steps * self._rate_hz + STEPS_PER_SECOND) // (2 * STEPS_PER_SECOND)

    def _steps(self) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """The energy and the frames of every step so far; the last may not be full."""
        energies = np.array(self._energies)
        if self._waiting_frames:
            begun, _ = self._measured(np.concatenate(self._waiting))
            energies = np.concatenate([energies, begun])
        frames = len(self._energies) // STEPS_PER_SECOND * self._rate_hz + self._waiting_frames
        boundaries = [min(self._boundary(step), frames) for step in range(len(energies) + 1)]
        return energies, np.diff(boundaries)

    def _window_powers(self, steps: int) -> NDArray[np.float64]:
        """Mean square of every full window of `steps` steps, 100 ms apart."""
        energies, frames = self._steps()
        full = len(energies) if sum(frames) == self._boundary(len(energies)) else len(energies) - 1
        if full < steps:
            return np.empty(0)
        window_frames = sliding_window_view(frames[:full], steps).sum(axis=1)
        return np.asarray(sliding_window_view(energies[:full], steps).sum(axis=1) / window_frames, np.float64)

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
        powers = self._window_powers(_MOMENTARY_STEPS)
        if not len(powers):
            energies, frames = self._steps()
            return _mean_lufs(energies.sum(keepdims=True) / max(1, frames.sum()))
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
        return LOUDNESS_OFFSET_LU + 10 * np.log10(powers)


def _mean_lufs(powers: NDArray[np.float64]) -> float:
    return float(_lufs(powers.mean(keepdims=True))[0]) if len(powers) else float("-inf")


def _above(powers: NDArray[np.float64], gate_lufs: float) -> NDArray[np.float64]:
    return powers[_lufs(powers) > gate_lufs]


def _gated(powers: NDArray[np.float64], under_mean_lu: float) -> NDArray[np.float64]:
    """What is louder than the mean of all by `under_mean_lu`."""
    return _above(powers, _mean_lufs(powers) + under_mean_lu)
