"""True peak: the highest level between the samples too, after ITU-R BS.1770-4 Annex 2, four times oversampled.

Most of a programme is far too soft to hold its peak, which can be proved without looking between its
samples: an interpolated value is at most the largest sample near it times the sum of the filter's taps.
Only what passes that test is interpolated, so the answer is exact and costs little.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.units import linear_to_db

OVERSAMPLING = 4
# Samples on each side of an interpolated value that it is made of.
REACH_FRAMES = 16
# How many neighbouring samples are looked at together.
_CELL_FRAMES = 32
# Of the Kaiser window; with 32 taps the response is flat within 0.1 dB up to 0.45 of the rate.
_KAISER_BETA = 6.0


@cache
def _taps() -> NDArray[np.float64]:
    """Taps for the values a quarter, a half and three quarters of the way to the next sample.

    Shape (3, 2 * REACH_FRAMES); each row adds up to 1.
    """
    positions = np.arange(1 - REACH_FRAMES, REACH_FRAMES + 1)
    quarters = np.arange(1, OVERSAMPLING)[:, np.newaxis] / OVERSAMPLING
    distance = positions - quarters
    window = np.i0(_KAISER_BETA * np.sqrt(1 - (distance / REACH_FRAMES) ** 2)) / np.i0(_KAISER_BETA)
    taps = np.sinc(distance) * window
    return np.asarray(taps / taps.sum(axis=1, keepdims=True), np.float64)


@cache
def most_overshoot() -> float:
    """How many times as high as the samples around it an interpolated value can be at most."""
    return float(np.abs(_taps()).sum(axis=1).max())


@cache
def _cell_filter() -> NDArray[np.float32]:
    """The filter of a whole cell as one matrix: its samples with their neighbours → all values between.

    Shape (cell + 2 * reach, cell * 3).
    """
    taps, steps = _taps(), OVERSAMPLING - 1
    matrix = np.zeros((_CELL_FRAMES + 2 * REACH_FRAMES, _CELL_FRAMES * steps), np.float32)
    for frame in range(_CELL_FRAMES):
        for step in range(steps):
            # The first tap is for the sample REACH_FRAMES - 1 before, and the window begins REACH_FRAMES before.
            matrix[frame + 1 : frame + 1 + 2 * REACH_FRAMES, frame * steps + step] = taps[step]
    return matrix


def peaks_above(samples: NDArray[np.float32], floor: float) -> NDArray[np.float32] | None:
    """The peak at and just after each frame, exact wherever it is above `floor`.

    Args:
        samples: one channel, shape (REACH_FRAMES + frames + REACH_FRAMES,): the frames and what lies
            around them, zeros where there is nothing.
        floor: linear amplitude above zero.

    Returns:
        Float32, shape (frames,); where a peak is not above `floor`, any value up to it. None if no peak is.
    """
    frames = len(samples) - 2 * REACH_FRAMES
    magnitudes = np.abs(samples)
    if frames < 1 or float(magnitudes.max()) * most_overshoot() <= floor:
        return None
    cells = -(-frames // _CELL_FRAMES)
    padded = np.zeros(cells * _CELL_FRAMES + 2 * REACH_FRAMES, np.float32)
    padded[: len(samples)] = samples
    # Each cell with its neighbours; REACH_FRAMES is half a cell, so half cells are counted.
    halves = np.abs(padded).reshape(-1, REACH_FRAMES).max(axis=1)
    around = np.maximum.reduce([halves[offset : offset + 2 * cells - 1 : 2] for offset in range(4)])
    active = np.flatnonzero(around * most_overshoot() > floor)
    peaks = np.zeros((cells, _CELL_FRAMES), np.float32)
    if len(active):
        windows = np.lib.stride_tricks.sliding_window_view(padded, _CELL_FRAMES + 2 * REACH_FRAMES)
        near = windows[active * _CELL_FRAMES]
        between = np.abs(near @ _cell_filter()).reshape(len(active), _CELL_FRAMES, OVERSAMPLING - 1)
        own = np.abs(near[:, REACH_FRAMES : REACH_FRAMES + _CELL_FRAMES])
        peaks[active] = np.maximum(own, between.max(axis=2))
    found = peaks.reshape(-1)[:frames]
    return found if float(found.max()) > floor else None


class TruePeakMeter:
    """Takes the blocks of one programme; each programme needs a meter of its own."""

    def __init__(self) -> None:
        self._amplitude = 0.0
        self._before: NDArray[np.float32] | None = None

    def add(self, block: NDArray[np.float32]) -> None:
        """Takes the next block: shape (frames, channels)."""
        if self._before is None:
            self._before = np.zeros((2 * REACH_FRAMES, block.shape[1]), np.float32)
        joined = np.concatenate([self._before, block])
        self._look_at(joined)
        self._before = joined[-2 * REACH_FRAMES :]

    def dbtp(self) -> float:
        """The highest peak of all that was added, silence after it, in dB true peak."""
        if self._before is not None:
            self._look_at(np.concatenate([self._before, np.zeros_like(self._before)]))
        return linear_to_db(self._amplitude)

    def _look_at(self, joined: NDArray[np.float32]) -> None:
        for channel in joined.T:
            self._amplitude = max(self._amplitude, float(np.abs(channel).max()))
            found = peaks_above(channel, max(self._amplitude, np.finfo(np.float32).tiny))
            if found is not None:
                self._amplitude = float(found.max())


def true_peak_dbtp(samples: NDArray[np.float32]) -> float:
    """The true peak of a whole clip, shape (frames,) or (frames, channels); minus infinity for silence."""
    meter = TruePeakMeter()
    meter.add(samples if samples.ndim == 2 else samples[:, np.newaxis])
    return meter.dbtp()
