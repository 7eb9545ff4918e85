"""A programme, a recording and a first guess → all that is heard along one line, and that line exactly.

First the line along which the pieces agree best (`stack`), then the cues that are heard along it, then where
the direct sound of all of them together lies (`echo`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from cuetrack.cores import usable_cores
from cuetrack.take.chain import MOST_DRIFT
from cuetrack.take.echo import (
    LEAD_FRAMES,
    Echo,
    EchoSum,
    direct_sound,
    shift_between,
    windows,
)
from cuetrack.take.expected import Expected
from cuetrack.take.line import Line, robust_fit
from cuetrack.take.pieces import DETECTOR_RATE_HZ, PlacedPiece
from cuetrack.take.samples import SampleFile
from cuetrack.take.stack import best_slant

# How far behind the first and the last sighting of a chain its cues are looked for at a time.
_FURTHER_SECONDS = 120.0
_BATCH = 64
# A piece is heard where its correlation is so many times what it would be by chance (root mean square).
_HEARD_SCORE = 6.0
# Along the line of the strongest sound, maybe an echo, the direct sound lies within so many frames, and
# further away nothing is much stronger: the correlation of a tone is as wide as the tone is long.
_HEARD_FRAMES, _WIDE_FRAMES, _OF_WIDEST = 160, 1024, 0.8
# A cue of several pieces is heard if so many of them are: one of many may stand out by chance.
_LEAST_HEARD_PIECES = 0.25
# How far from a first guess pieces are looked for, in how much of the programme, and in how many pieces.
_LATE_FRAMES, _FIT_SECONDS, _MOST_FITTED = 1 << 12, 600.0, 400
# How far the drift of twenty minutes may be from that of the whole stretch.
_NEAR_DRIFT = 120e-6
# A stretch goes on as long as what is heard outweighs what is missed: at first by so much, then by how likely
# each is, given how much of it is heard; of a wrong one, so many cues seem to be.
_MISSED_WEIGHT = 0.5
_BY_CHANCE, _MOST_SURE = 0.1, 0.95
_GROUP_SECONDS, _MOST_GROUPS = 60.0, 40
# So often the drift is refined by its groups, if there are so many.
_REFINEMENTS, _LEAST_SLOPED = 2, 3
# Where there are few pieces, groups of so many, as long as there are so many groups.
_LEAST_GROUPS, _LEAST_PIECES = 6, 6


@dataclass(frozen=True, slots=True)
class FoundStretch:
    """A stretch of the recording that runs along `line`.

    `cues` are the numbers of the cues in it, in their order, `heard` those of which anything is heard;
    `pieces` tell of every piece its cue, in the stretch or near it, and whether it is heard.
    """

    line: Line
    cues: tuple[int, ...]
    heard: frozenset[int]
    pieces: tuple[tuple[int, bool], ...]

    @property
    def confidence(self) -> float:
        """The share of its cues that are heard."""
        return len(self.heard) / len(self.cues)


@dataclass(frozen=True, slots=True)
class _Trace:
    """One piece's correlation around where a line has it, shape (frames,), and its level by chance."""

    placed: PlacedPiece
    values: NDArray[np.float32]
    level: float


@dataclass(frozen=True, slots=True)
class Listener:
    """A programme's pieces and the recording in which they are listened for, `recording_seconds` long."""

    expected: Expected
    placed: Sequence[PlacedPiece]
    recording: SampleFile

    @property
    def recording_seconds(self) -> float:
        """How long the recording lasts."""
        return self.recording.frames / DETECTOR_RATE_HZ

    def along(
        self, line: Line, first: float, last: float, *, is_rate_known: bool = False, by_words: bool = False
    ) -> FoundStretch | None:
        """What is heard along a line, from a core between two times of the programme outwards.

        None if nothing of the core is heard, or only at a drift that no clocks have. Where the rate is known
        the line's own is kept. `by_words` looks for the words alone to tell how late the line is: of tones,
        which are alike for as long as they sound, many may agree on an echo.
        """
        middle = (first + last) / 2
        far, near = (0.0, 0.0) if is_rate_known else (MOST_DRIFT, _NEAR_DRIFT)
        # Further away the player may have been paused; and in so long a time any drift shows.
        lower = max(first - _FURTHER_SECONDS, middle - _FIT_SECONDS)
        upper = min(last + _FURTHER_SECONDS, middle + _FIT_SECONDS)
        line = self._slanted(line.through(middle), lower, upper, far, by_words)
        line = self._slanted(line, first, last, near, by_words)
        lower, upper = first, last
        while True:
            lower, upper = lower - _FURTHER_SECONDS, upper + _FURTHER_SECONDS
            placed = self._inside(line, lower, upper)
            pieces = self._scored(placed, line)
            cues, heard = self._run(pieces, first, last)
            if not heard:
                return None
            times = [self.expected.cue_seconds(number) for number in heard]
            first, last = min(times), max(times)
            # The run may go on behind what was looked at.
            if first - lower > _FURTHER_SECONDS / 2 and upper - last > _FURTHER_SECONDS / 2:
                break
            if lower <= 0 and upper >= self.expected.seconds:
                break
        final = self._refined([one for one in placed if one.cue in heard], line)
        if abs(final.rate_ppm) > MOST_DRIFT * 1e6:
            return None
        return FoundStretch(final, cues, heard, pieces)

    def _slanted(self, line: Line, lower: float, upper: float, most_drift: float, by_words: bool) -> Line:
        """The line along which most is heard of the pieces between two times of the programme."""
        cues = self.expected.cues
        inside = self._inside(line, lower, upper)
        placed = _most_telling([one for one in inside if not by_words or cues[one.cue].text is not None])
        if not placed:
            return line
        scores = np.stack([trace.values / trace.level for trace in self._traces(placed, line, _LATE_FRAMES)])
        at = np.array([one.seconds for one in placed])
        slant = best_slant(at, scores, DETECTOR_RATE_HZ, most_drift)
        return line.corrected(at, slant.late_seconds, slant.slope)

    def _inside(self, line: Line, lower: float, upper: float) -> list[PlacedPiece]:
        """The pieces of the programme between two times that the recording is long enough for."""
        return [
            one
            for one in self.placed
            if lower <= one.seconds <= upper
            and 0
            <= line.recording_at(one.seconds)
            <= self.recording_seconds - len(one.piece.samples) / DETECTOR_RATE_HZ
        ]

    def _traces(self, placed: Sequence[PlacedPiece], line: Line, reach_frames: int) -> Iterator[_Trace]:
        """The correlation of each piece so far around where the line has it."""
        from scipy import fft

        for start in range(0, len(placed), _BATCH):
            some = placed[start : start + _BATCH]
            found = windows(self.recording, some, line)
            values = fft.irfft(found.across().astype(np.complex64), axis=1, workers=usable_cores())
            near = np.abs(values[:, LEAD_FRAMES - reach_frames : LEAD_FRAMES + reach_frames])
            for one, row, level in zip(some, near, found.chance_levels(), strict=True):
                yield _Trace(one, row, float(level))

    def _scored(self, placed: Sequence[PlacedPiece], line: Line) -> tuple[tuple[int, bool], ...]:
        """Of every piece its cue, and whether it is heard where the line has it."""
        near = slice(_WIDE_FRAMES - _HEARD_FRAMES, _WIDE_FRAMES + _HEARD_FRAMES)
        made = []
        for trace in self._traces(placed, line, _WIDE_FRAMES):
            score = float(trace.values[near].max())
            is_top = score >= _OF_WIDEST * float(trace.values.max())
            made.append((trace.placed.cue, is_top and score >= _HEARD_SCORE * trace.level))
        return tuple(made)

    def _run(
        self, pieces: Sequence[tuple[int, bool]], first: float, last: float
    ) -> tuple[tuple[int, ...], frozenset[int]]:
        """The cues in a row of which most is heard, with some of a core, and those that are heard."""
        of_cue: dict[int, list[bool]] = {}
        for number, is_heard in pieces:
            of_cue.setdefault(number, []).append(is_heard)
        numbers = sorted(of_cue)
        heard = {
            number for number, each in of_cue.items() if sum(each) >= max(1, _LEAST_HEARD_PIECES * len(each))
        }
        if not any(first - 1 <= self.expected.cue_seconds(number) <= last + 1 for number in heard):
            return (), frozenset()
        inside = _heaviest(numbers, heard, 1.0, -_MISSED_WEIGHT)
        share = min(_MOST_SURE, len(heard.intersection(inside)) / len(inside))
        # Behind a jump something may be heard by chance: where nearly all is heard, what is missed tells.
        more, less = log(share / _BY_CHANCE), log((1 - share) / (1 - _BY_CHANCE))
        inside = _heaviest(inside, heard, more, less)
        return inside, frozenset(heard.intersection(inside))

    def _refined(self, placed: Sequence[PlacedPiece], line: Line) -> Line:
        """The line on which the direct sound of these pieces lies."""
        for _ in range(_REFINEMENTS):
            groups = self._groups(placed, line)
            if len(groups) < _LEAST_SLOPED:
                break
            answer = _together(groups)
            shifts = [shift_between(summed.echo(), answer) for _, summed in groups]
            at = np.array([seconds for seconds, _ in groups])
            late = np.array([shift for shift, _ in shifts])
            weights = np.array([alike for _, alike in shifts]) ** 2 + 1e-9
            by, slope = robust_fit(at, late, weights)
            line = line.corrected(at, by, slope)
        late_seconds, _ = direct_sound(_together(self._groups(placed, line)))
        return line.later_by(late_seconds)

    def _groups(self, placed: Sequence[PlacedPiece], line: Line) -> list[tuple[float, EchoSum]]:
        """The pieces in groups, of a minute if there are many, each with its programme time and its sum."""
        span = placed[-1].seconds - placed[0].seconds
        least = min(_LEAST_GROUPS, len(placed) // _LEAST_PIECES)
        number = max(1, min(_MOST_GROUPS, max(round(span / _GROUP_SECONDS), least)))
        made: list[tuple[float, EchoSum]] = []
        for group in np.array_split(np.arange(len(placed)), number):
            some = [placed[index] for index in group]
            if not some:
                continue
            summed = EchoSum()
            for start in range(0, len(some), _BATCH):
                summed.add(windows(self.recording, some[start : start + _BATCH], line))
            made.append((float(np.mean([one.seconds for one in some])), summed))
        return made


def _together(groups: Sequence[tuple[float, EchoSum]]) -> Echo:
    """How the room answers to all groups."""
    whole = EchoSum()
    for _, summed in groups:
        whole.merge(summed)
    return whole.echo()


def _most_telling(placed: Sequence[PlacedPiece]) -> list[PlacedPiece]:
    """The pieces that tell most about when they are, in their order."""
    most = sorted(placed, key=lambda one: -one.piece.detail)[:_MOST_FITTED]
    return sorted(most, key=lambda one: one.seconds)


def _heaviest(numbers: Sequence[int], heard: set[int], more: float, less: float) -> tuple[int, ...]:
    """The run of neighbours whose sum is the largest (Kadane): `more` for each that is heard, else `less`."""
    best, best_sum, start, total = (0, 0), 0.0, 0, 0.0
    for index, number in enumerate(numbers):
        if total <= 0:
            start, total = index, 0.0
        total += more if number in heard else less
        if total > best_sum:
            best, best_sum = (start, index + 1), total
    return tuple(numbers[slice(*best)])
