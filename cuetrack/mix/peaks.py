"""A programme's blocks → its peak in every short step, and what a limiter will do to each of them."""

from __future__ import annotations

from array import array

import numpy as np
from numpy.typing import NDArray

# The limiter goes down in four of these steps and comes back in four.
PEAK_STEPS_PER_SECOND = 100
_HALF_RAMP_STEPS = 2


class StepPeaks:
    """Takes the blocks of one programme; 4 bytes are kept for every step of 10 ms."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz, self._frames = rate_hz, 0
        self._peaks = array("f")

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
        peaks = np.maximum.reduceat(np.maximum(block.max(axis=1), -block.min(axis=1)), [0, *begins])
        if first < len(self._peaks):
            peaks[0] = max(float(peaks[0]), self._peaks.pop())
        self._peaks.extend(peaks.astype(np.float32))

    def found(self) -> NDArray[np.float32]:
        """The peak of every step, the last of which may be shorter; shape (steps,)."""
        return np.array(self._peaks, np.float32)


def limiter_gains(peaks: NDArray[np.float32], ceiling: float) -> NDArray[np.float32] | None:
    """The mean gain of the limiter in every step; None where it has nothing to do.

    As `limiter.limited` works: the lowest of what the neighbours need, and of those a mean under a
    triangle. Where in a step its peak lies is not known, so it is an estimate.
    """
    if not len(peaks) or float(peaks.max()) <= ceiling:
        return None
    needed = np.minimum(np.float32(1), np.float32(ceiling) / np.maximum(peaks, np.float32(1e-9)))
    reach = _HALF_RAMP_STEPS
    padded = np.pad(needed, 2 * reach, constant_values=1)
    lowest = np.minimum.reduce([padded[i : len(padded) - 2 * reach + i] for i in range(2 * reach + 1)])
    triangle = [reach + 1 - abs(i - reach) for i in range(2 * reach + 1)]
    return np.convolve(lowest, np.array(triangle, np.float32) / sum(triangle), "valid").astype(np.float32)
