"""Many correlations along a time axis → the slope along which they agree best: how fast a clock drifts.

In a room every piece is heard many times, and which echo is strongest differs from piece to piece. Added
up along the right slope all of them agree, however many there are (a slant stack, as in seismology).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Bins of so many frames; each pass looks around what the pass before found.
_BINS_FRAMES = (32, 8, 2)
_AROUND_STEPS = 6
# Of a correlation's power over that by chance: more is no surer, and one loud piece must not decide.
_MOST_POWER = 100.0


@dataclass(frozen=True, slots=True)
class Slant:
    """How late the pieces are at the mean of their times, and how much later a second."""

    late_seconds: float
    slope: float


def best_slant(
    at_seconds: NDArray[np.float64], scores: NDArray[np.float32], rate_hz: int, most_slope: float
) -> Slant:
    """The line through the scores on which most of their power lies.

    Args:
        at_seconds: the time of each row.
        scores: correlation over its level by chance, shape (rows, lags); the middle is on time.
        rate_hz: of the lags.
        most_slope: seconds later a second that a clock may be.
    """
    power = np.minimum(np.square(scores), np.float32(_MOST_POWER))
    # Summed along each row once: a bin is then the difference of two sums.
    sums = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1, dtype=np.float64)], axis=1)
    from_middle = at_seconds - at_seconds.mean()
    reach = float(np.abs(from_middle).max())
    low, high, late_frames, window = -most_slope, most_slope, 0.0, power.shape[1] // 2
    slope = 0.0
    for frames in _BINS_FRAMES:
        step = frames / rate_hz / max(reach, 1.0)
        slopes = np.arange(low, high + step, step) if reach > 1 and most_slope > 0 else np.zeros(1)
        stacked = [_stacked(sums, from_middle * one * rate_hz, late_frames, window, frames) for one in slopes]
        best = int(np.argmax([float(row.max()) for row in stacked]))
        slope = float(slopes[best])
        late_frames += (int(stacked[best].argmax()) + 0.5) * frames - window
        low, high = slope - _AROUND_STEPS * step, slope + _AROUND_STEPS * step
        low, high = max(low, -most_slope), min(high, most_slope)
        window = 4 * frames
    return Slant(late_frames / rate_hz, slope)


def _stacked(
    sums: NDArray[np.float64], shifts: NDArray[np.float64], late_frames: float, window: int, frames: int
) -> NDArray[np.float64]:
    """The rows added up, each read from where its shift says, in bins of `frames` around `late_frames`."""
    lags = sums.shape[1] - 1
    starts = np.round(shifts + late_frames + lags / 2 - window).astype(np.intp)
    edges = starts[:, np.newaxis] + frames * np.arange(2 * window // frames + 1)
    found = np.take_along_axis(sums, np.clip(edges, 0, lags), axis=1).sum(axis=0)
    # A row that ends inside a bin adds less than it might: what is not known is taken for chance.
    inside = (np.clip(edges[:, 1:], 0, lags) - np.clip(edges[:, :-1], 0, lags)).sum(axis=0)
    return np.asarray(np.diff(found) + (frames * len(sums) - inside))
