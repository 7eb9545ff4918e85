"""A known sound and where it is expected → where it is, to the frame: the matched filter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.take.samples import Samples

Signal = NDArray[np.float64]

# Lags whose correlation comes so near to the highest are as good by it.
_NEARLY = 0.97
# What codecs and limiters add is as narrow as the tone: so many numbers a second can be told apart in it.
_NUMBERS_PER_SECOND = 200.0
# Of the logarithm of the odds, e to the 8th to one.
_SURE = 8.0


@dataclass(frozen=True, slots=True)
class Located:
    """The best place of a sound in a window.

    `late_frames` counts from the window's first frame and may lie between two frames; `likeness` is the
    normalised correlation there, at most 1; `gain_linear` is how loud it is in terms of the sound.
    """

    late_frames: float
    likeness: float
    gain_linear: float

    @property
    def frame(self) -> int:
        """The nearest frame."""
        return round(self.late_frames)


def located(window: Samples, sound: Samples, expected_frame: int, rate_hz: int) -> Located:
    """Where in a window a sound fits best.

    Args:
        window: float32, shape (frames,), at least as long as the sound.
        sound: float32, shape (frames,).
        expected_frame: of the window, where the sound should begin.
        rate_hz: of both.
    """
    from scipy.signal import correlate

    heard, wanted = window.astype(np.float64), sound.astype(np.float64)
    found = correlate(heard, wanted, "valid", "fft")
    energy = float(np.dot(wanted, wanted))
    best = _best(found, heard, energy, expected_frame, len(wanted) / rate_hz)
    inside = heard[best : best + len(wanted)]
    level = np.sqrt(energy * float(np.dot(inside, inside)))
    peak = float(found[best])
    likeness = peak / level if level > 0 else 0.0
    return Located(best + _between(found, best), likeness, peak / energy if energy else 0.0)


def _best(found: Signal, heard: Signal, energy: float, expected_frame: int, seconds: float) -> int:
    """The lag that fits best; of those that noise makes as good, the one nearest to where it is expected.

    A steady tone fits nearly as well a period off, and what a codec adds, or a limiter takes, may decide. A
    lag is as good as the best if what it leaves is not more by a factor that chance would not reach. Tops are
    compared as high as they are between frames: a file of another rate may have its own half a frame off.
    """
    highest = int(found.argmax())
    if highest in (0, len(found) - 1):  # no top: it goes on rising outside
        return highest
    near = _NEARLY * float(found[highest])
    inner = found[1:-1]
    tops = 1 + np.flatnonzero((inner >= near) & (inner > found[:-2]) & (inner >= found[2:]))
    if len(tops) < 2 or near <= 0:
        return highest
    before, top, after = found[tops - 1], found[tops], found[tops + 1]
    heights = top + (before - after) ** 2 / (8 * (2 * top - before - after))
    best = int(heights.argmax())
    frames = len(heard) - len(found) + 1
    inside = heard[tops[best] : tops[best] + frames]
    left = float(np.dot(inside, inside)) - float(heights[best]) ** 2 / energy
    more = (float(heights[best]) ** 2 - heights**2) / energy
    likely = tops[_NUMBERS_PER_SECOND * seconds * more <= 2 * _SURE * max(left, 0.0)]
    return int(min(likely, key=lambda lag: abs(lag - expected_frame), default=tops[best]))


def _between(found: Signal, best: int) -> float:
    """By how much the top of the parabola through three values lies beside the middle one."""
    if not 0 < best < len(found) - 1:
        return 0.0
    before, top, after = (float(value) for value in found[best - 1 : best + 2])
    curve = before - 2 * top + after
    return 0.5 * (before - after) / curve if curve < 0 else 0.0
