"""Where the bed has to be lower, and by how much → its gain at every frame.

The bed is fully down at the first frame that asks for it, for the ramp lies before, and it comes up after
the last. Ramps are even in dB. So that the music does not pump, it never comes up for a short time only:
between two stretches that are close together it stays at the higher of both.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.units import db_to_linear

# From its own level to the lowest and back. 50 to 500 ms are common practice, no source.
DOWN_SECONDS, UP_SECONDS = 0.2, 0.5
# Music that would be up for less than this stays down. Common practice, no source.
CLOSE_SECONDS = 1.5


@dataclass(frozen=True, slots=True)
class Duck:
    """Frames, half-open, in which the bed is to be lower by `gain_db`, which is zero or less."""

    start_frame: int
    end_frame: int
    gain_db: float


class DuckCurve:
    """The gain of a bed under `ducks`, in any order, overlapping or not; the lowest wins.

    `ducks` are what became of them: in order, none overlapping, nothing up for a short time between.
    """

    def __init__(self, ducks: Iterable[Duck], rate_hz: int) -> None:
        self._down, self._up = round(DOWN_SECONDS * rate_hz), round(UP_SECONDS * rate_hz)
        steps = _without_short_peaks(_steps(ducks), round(CLOSE_SECONDS * rate_hz))
        self.ducks = tuple(
            Duck(start, end, gain_db) for (start, gain_db), (end, _) in pairwise(steps) if gain_db
        )
        self._ends = [duck.end_frame for duck in self.ducks]

    def gain(self, start_frame: int, frames: int) -> float | NDArray[np.float32]:
        """Linear gain of some frames: one number where it is constant, else float32 of shape (frames,).

        Exactly 1 where nothing is ducked, and the same at a frame whichever frames are asked for with it.
        """
        end = start_frame + frames
        near = list(self._near(start_frame, end))
        if not near:
            return 1.0
        if len(near) == 1 and near[0].start_frame <= start_frame and end <= near[0].end_frame:
            return db_to_linear(near[0].gain_db)
        gain = np.ones(frames, np.float32)
        for duck in near:
            self._lower(gain, start_frame, duck)
        return gain

    def _near(self, start_frame: int, end_frame: int) -> Iterator[Duck]:
        """The ducks that change anything in some frames, with their ramps."""
        for index in range(bisect_right(self._ends, start_frame - self._up), len(self.ducks)):
            duck = self.ducks[index]
            if duck.start_frame - self._down >= end_frame:
                break
            yield duck

    def _lower(self, gain: NDArray[np.float32], start_frame: int, duck: Duck) -> None:
        """Lowers the gains from `start_frame` on to what `duck` and its ramps leave of them."""
        begin, last = duck.start_frame - self._down, duck.end_frame + self._up
        corners = (begin, duck.start_frame, duck.end_frame, last)
        first, down, up, over = (min(max(corner - start_frame, 0), len(gain)) for corner in corners)
        going_down = (np.arange(first, down) + (start_frame - begin)) / self._down
        coming_up = (last - start_frame - np.arange(up, over)) / self._up
        for part, share in ((gain[first:down], going_down), (gain[up:over], coming_up)):
            np.minimum(part, (10 ** (duck.gain_db * share / 20)).astype(np.float32), out=part)
        np.minimum(gain[down:up], np.float32(db_to_linear(duck.gain_db)), out=gain[down:up])


def _steps(ducks: Iterable[Duck]) -> Iterator[tuple[int, float]]:
    """The frames at which the lowest gain may change, in order, and that gain in dB from there on."""
    lowering = [duck for duck in ducks if duck.gain_db < 0 and duck.start_frame < duck.end_frame]
    to_come = sorted(lowering, key=lambda duck: duck.start_frame, reverse=True)
    holding: list[tuple[float, int]] = []
    for frame in sorted({edge for duck in lowering for edge in (duck.start_frame, duck.end_frame)}):
        while to_come and to_come[-1].start_frame == frame:
            duck = to_come.pop()
            heappush(holding, (duck.gain_db, duck.end_frame))
        while holding and holding[0][1] <= frame:
            heappop(holding)
        yield frame, holding[0][0] if holding else 0.0


def _without_short_peaks(steps: Iterable[tuple[int, float]], least_frames: int) -> list[tuple[int, float]]:
    """The steps without those that are higher than both neighbours for less than `least_frames`.

    Each is lowered to the higher of its neighbours (a morphological opening); before the first step and
    from the last on lies 0 dB for as long as you like.
    """
    kept = [(0, 0.0)]
    for step in steps:
        if step[1] == kept[-1][1]:
            continue
        kept.append(step)
        while len(kept) > 2:
            (_, before_db), (peak_frame, peak_db), (end_frame, after_db) = kept[-3:]
            if peak_db < max(before_db, after_db) or end_frame - peak_frame >= least_frames:
                break
            # The peak joins its higher neighbour, or both if they are alike.
            kept[-2:] = [(peak_frame, after_db)] if before_db < after_db else [(end_frame, after_db)]
            if kept[-1][1] == kept[-2][1]:
                kept.pop()
    return kept
