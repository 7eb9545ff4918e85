"""A programme's blocks → its peak in every short step, and what the limiter will take from its loudness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.limiter import RAMP_SECONDS
from cuetrack.sound.meter import STEPS_PER_SECOND

# Half the usual precision: 0.004 dB, of an estimate.
Peaks = NDArray[np.float16]
_KEPT = np.dtype(np.float16)
PEAK_STEPS_PER_SECOND = 100
_HALF_RAMP_STEPS = round(RAMP_SECONDS / 2 * PEAK_STEPS_PER_SECOND)
# The mean of the limiter's gain at the two ends of a step; there it is itself a mean under a triangle.
_SMOOTHING = np.convolve(np.convolve([1] * _HALF_RAMP_STEPS, [1] * _HALF_RAMP_STEPS), [1, 1])
_REACH_STEPS = 2 * _HALF_RAMP_STEPS - 1
_PEAKS_PER_STEP = PEAK_STEPS_PER_SECOND // STEPS_PER_SECOND
# Ten minutes, so that memory hardly grows with the programme.
_STEPS_AT_ONCE = 6_000


class StepPeaks:
    """Takes the blocks of one programme; 2 bytes are kept for every step of 10 ms (0.7 MB an hour)."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz, self._frames = rate_hz, 0
        self._peaks = bytearray()

    def add(self, block: NDArray[np.float32]) -> None:
        """Takes the next block: shape (frames, width), any number of frames."""
        start, end = self._frames, self._frames + len(block)
        self._frames = end
        if start == end:
            return
        first = start * PEAK_STEPS_PER_SECOND // self._rate_hz
        last = (end - 1) * PEAK_STEPS_PER_SECOND // self._rate_hz
        steps = np.arange(first + 1, last + 1)
        # The first frame of each step that begins in this block.
        begins = -(-steps * self._rate_hz // PEAK_STEPS_PER_SECOND) - start
        # All channels in one row: reduced along so short an axis, it takes a hundred times as long.
        row, starts = np.ascontiguousarray(block).reshape(-1), np.array([0, *begins]) * block.shape[1]
        peaks = np.maximum(np.maximum.reduceat(row, starts), -np.minimum.reduceat(row, starts))
        if first < len(self._peaks) // _KEPT.itemsize:
            peaks[0] = max(float(peaks[0]), float(self.found()[-1]))
            del self._peaks[-_KEPT.itemsize :]
        self._peaks += peaks.astype(_KEPT).tobytes()

    def found(self) -> Peaks:
        """The peak of every step, the last of which may be shorter; shape (steps,)."""
        return np.frombuffer(self._peaks, _KEPT)


def limiter_gains(peaks: Peaks, ceiling: float, steps: int) -> NDArray[np.float64] | None:
    """What `limiter.limited` does to the loudness of each of a meter's steps of 100 ms, as a linear gain.

    An estimate: what lies between samples is not looked at, and inside a step the energy is taken to lie as
    the squares of the peaks do. Voice, tones and pulse come out within 0.05 LU of it; squashed noise that is
    limited from end to end, within 0.2.

    Args:
        peaks: as `StepPeaks` finds them.
        ceiling: linear, above zero.
        steps: of the meter.

    Returns:
        Shape (steps,), each above 0 and at most 1; None where the limiter has nothing to do.
    """
    if not len(peaks) or float(peaks.max()) <= ceiling:
        return None
    gains = np.ones(steps)
    for first in range(0, steps, _STEPS_AT_ONCE):
        last = min(first + _STEPS_AT_ONCE, steps)
        near = _around(peaks, _PEAKS_PER_STEP * first, _PEAKS_PER_STEP * last, _PEAKS_PER_STEP * steps)
        if float(near.max()) > ceiling:
            gains[first:last] = _step_gains(near, ceiling)
    return gains


def _around(peaks: Peaks, first: int, last: int, end: int) -> NDArray[np.float64]:
    """The peaks from `first` to `last` and `_REACH_STEPS` more at each end; none before 0 and from `end` on.

    At odd rates the two kinds of steps are rounded apart, and one peak may be left over behind `end`.
    """
    near = np.zeros(last - first + 2 * _REACH_STEPS)
    start = first - _REACH_STEPS
    inside = peaks[max(0, start) : min(end, last + _REACH_STEPS)]
    near[max(0, -start) : max(0, -start) + len(inside)] = inside
    return near


def _step_gains(peaks: NDArray[np.float64], ceiling: float) -> NDArray[np.float64]:
    """The gains of whole steps of the meter, from their peaks and `_REACH_STEPS` more at each end."""
    power = np.square(peaks[_REACH_STEPS:-_REACH_STEPS]) + np.finfo(np.float64).tiny
    limited = power * np.square(_peak_step_gains(peaks, ceiling))
    sums = (values.reshape(-1, _PEAKS_PER_STEP).sum(axis=1) for values in (limited, power))
    return np.asarray(np.sqrt(np.divide(*sums)), np.float64)


def _peak_step_gains(peaks: NDArray[np.float64], ceiling: float) -> NDArray[np.float64]:
    """The limiter's mean gain in each step of 10 ms; shorter by `_REACH_STEPS` at each end.

    At an instant between two steps the limiter looks at whole steps on both sides: there the lowest of
    what they need is exact.
    """
    needed = ceiling / np.maximum(peaks, ceiling)
    width = 2 * _HALF_RAMP_STEPS
    lowest = np.minimum.reduce([needed[i : len(needed) - width + 1 + i] for i in range(width)])
    return np.convolve(lowest, _SMOOTHING / _SMOOTHING.sum(), "valid")
