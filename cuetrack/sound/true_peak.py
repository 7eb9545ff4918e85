"""True peak: the highest level between the samples too; ITU-R BS.1770-4 Annex 2, four times oversampled.

Most of a programme is far too soft to hold its peak, which can be proved without looking between its
samples, in two ways. An interpolated value is at most the largest sample near it times the sum of the
filter's taps. And it lies as far at most beyond the line between the two samples next to it as the samples
near it bend, times what `most_bend` tells. Only what passes both tests is interpolated, so the answer is
exact and costs little.
"""

from __future__ import annotations

from functools import cache, reduce

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from cuetrack.sound.units import linear_to_db

OVERSAMPLING = 4
# Samples on each side of an interpolated value that it is made of.
REACH_FRAMES = 16
# How many neighbouring samples are looked at together, and how many such cells in one matrix product: so
# few that the library of matrices starts no threads, which cost much more than they save beside an encoder.
_CELL_FRAMES, _CELLS_AT_ONCE = 32, 16
# What float32 takes from a bound at most: 5e-7 of the sample from a second difference, half of it counting.
_ROUNDING = 1 + 1e-6
# Of the Kaiser window; with 32 taps the response is flat within 0.05 dB up to 0.45 of the rate.
_KAISER_BETA = 5.0


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
def most_bend() -> float:
    """How many times the largest second difference near it an interpolated value lies beyond a line at most.

    That line leads from the sample before to the one after. The taps without those that interpolate along
    it are, summed up twice, weights of second differences (summation by parts): they take a line for a line.
    """
    positions = np.arange(2 * REACH_FRAMES)
    before = REACH_FRAMES - 1
    share = _taps() @ positions - before
    bending = _taps().copy()
    bending[:, before] -= 1 - share
    bending[:, before + 1] -= share
    return float(np.abs(bending.cumsum(axis=1).cumsum(axis=1)).sum(axis=1).max())


def can_pass(samples: NDArray[np.float32], level: float) -> bool:
    """Whether a true peak in there may be above `level`; False is proof that none is.

    Args:
        samples: shape (frames,) or (frames, channels): one or more, and REACH_FRAMES more at both ends.
        level: linear amplitude.
    """
    highest = max(float(samples.max()), -float(samples.min()))
    if highest * most_overshoot() <= level:
        return False
    bends = np.diff(samples, 2, axis=0)
    bend = max(float(bends.max()), -float(bends.min()))
    return (highest + most_bend() * bend) * _ROUNDING > level


@cache
def _cell_filter() -> NDArray[np.float32]:
    """The filter of a whole cell as one matrix: its samples with their neighbours → all values between.

    Shape (cell + 2 * reach, 3 * cell), the first of three after every sample before the second.
    """
    taps, steps = _taps(), OVERSAMPLING - 1
    matrix = np.zeros((_CELL_FRAMES + 2 * REACH_FRAMES, _CELL_FRAMES * steps), np.float32)
    for frame in range(_CELL_FRAMES):
        for step in range(steps):
            # The first tap is for the sample REACH_FRAMES - 1 before; the window begins one earlier.
            matrix[frame + 1 : frame + 1 + 2 * REACH_FRAMES, step * _CELL_FRAMES + frame] = taps[step]
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
    if frames < 1 or not can_pass(samples, floor):
        return None
    cells = -(-frames // _CELL_FRAMES)
    padded = np.zeros(cells * _CELL_FRAMES + 2 * REACH_FRAMES, np.float32)
    padded[: len(samples)] = samples
    active = np.flatnonzero(_cell_bounds(padded) > floor)
    peaks = np.zeros((cells, _CELL_FRAMES), np.float32)
    if len(active):
        windows = sliding_window_view(padded, _CELL_FRAMES + 2 * REACH_FRAMES)
        peaks[active] = _cell_peaks(windows[active * _CELL_FRAMES])
    found = peaks.reshape(-1)[:frames]
    return found if float(found.max()) > floor else None


def _cell_bounds(padded: NDArray[np.float32]) -> NDArray[np.float32]:
    """What the peaks in each cell can be at most; whole cells of samples, REACH_FRAMES more at both ends."""
    sizes = np.abs(padded)
    bends = np.zeros_like(padded)
    bends[1:-1] = np.abs(np.diff(padded, 2))
    # The samples of a cell and the one after it; REACH_FRAMES is half a cell, so half cells are counted.
    halves, after = _half_cell_maxima(sizes), sizes[::REACH_FRAMES]
    own = np.maximum.reduce([halves[1:-2:2], halves[2:-1:2], after[3::2]])
    bound = (own + np.float32(most_bend()) * _around_cells(_half_cell_maxima(bends))) * np.float32(_ROUNDING)
    most = _around_cells(halves) * np.float32(most_overshoot() * _ROUNDING)
    return np.asarray(np.minimum(bound, most), np.float32)


def _half_cell_maxima(values: NDArray[np.float32]) -> NDArray[np.float32]:
    # One column after the other: a reduction along so short an axis takes ten times as long.
    return np.asarray(reduce(np.maximum, values.reshape(-1, REACH_FRAMES).T), np.float32)


def _around_cells(halves: NDArray[np.float32]) -> NDArray[np.float32]:
    """The highest of each cell and its neighbours within reach."""
    cells = len(halves) // 2 - 1
    quarters = [halves[offset : offset + 2 * cells - 1 : 2] for offset in range(4)]
    return np.asarray(np.maximum.reduce(quarters), np.float32)


def _cell_peaks(near: NDArray[np.float32]) -> NDArray[np.float32]:
    """The peaks at and just after each frame of cells with their neighbours, (cells, cell + 2 * reach)."""
    cells = len(near)
    own = np.abs(near[:, REACH_FRAMES : REACH_FRAMES + _CELL_FRAMES])
    filled = np.zeros((-(-cells // _CELLS_AT_ONCE) * _CELLS_AT_ONCE, near.shape[1]), np.float32)
    filled[:cells] = near
    between = filled.reshape(-1, _CELLS_AT_ONCE, near.shape[1]) @ _cell_filter()
    steps = np.abs(between).reshape(-1, OVERSAMPLING - 1, _CELL_FRAMES)[:cells]
    return np.asarray(reduce(np.maximum, [own, *steps.transpose(1, 0, 2)]), np.float32)


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
        self._amplitude = self._highest(joined)
        self._before = joined[-2 * REACH_FRAMES :]

    def dbtp(self) -> float:
        """The highest peak of all that was added, silence after it, in dB true peak."""
        if self._before is None:
            return linear_to_db(0.0)
        return linear_to_db(self._highest(np.concatenate([self._before, np.zeros_like(self._before)])))

    def _highest(self, joined: NDArray[np.float32]) -> float:
        """The highest peak so far, with that of `joined`, whose ends are only looked at as neighbours."""
        amplitude = self._amplitude
        for channel in np.ascontiguousarray(joined.T):
            amplitude = max(amplitude, float(np.abs(channel).max()))
            found = peaks_above(channel, max(amplitude, float(np.finfo(np.float32).tiny)))
            if found is not None:
                amplitude = float(found.max())
        return amplitude


def true_peak_dbtp(samples: NDArray[np.float32]) -> float:
    """The true peak of a whole clip, shape (frames,) or (frames, channels); minus infinity for silence."""
    meter = TruePeakMeter()
    meter.add(samples if samples.ndim == 2 else samples[:, np.newaxis])
    return meter.dbtp()
