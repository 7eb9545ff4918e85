"""A programme and a file that should hold it → where each cue is, what is missing, and what is too much.

Every cue is found by the matched filter of its own sound, after all else that is known to sound with it has
been taken away. What is then left of the file belongs to nobody (`residue`).

Its limits: a file is compared as one channel, the mean of all. In a lossy file what is softer than its own
noise is not told. A file at another speed has its cues found, but not what lies beside them.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.decoding import resampled_pieces
from cuetrack.sound.units import linear_to_db
from cuetrack.take.courses import Course, Speed, course_or_speed, late_at
from cuetrack.take.detect import detect
from cuetrack.take.expected import Expected, ExpectedCue, add
from cuetrack.take.lateness import voted_lateness
from cuetrack.take.locate import Located, located
from cuetrack.take.pieces import DETECTOR_RATE_HZ, pieces_of
from cuetrack.take.recording import Recording
from cuetrack.take.residue import Known, Residue
from cuetrack.take.samples import SampleFile, Samples
from cuetrack.take.verification import Extra, Verification, VerifiedCue, VerifiedRest, faults_of

# How far from its place a cue is looked for at once, and how often it is followed to where it seems to be.
_REACH_SECONDS, _FOLLOWED = 0.05, 4
# If so many cues are not where they should be, the whole file is searched.
_FEW_MISSING = 3
# By so many cues, evenly spread, it is told whether a file is upside down: if nearly all of them are.
_FEW_CUES, _NEARLY_ALL_TURNED = 10, 0.9
# A cue is there if it is as like as this to its own sound, and no softer than half of what it should be.
_LEAST_LIKENESS, _LEAST_LIKENESS_UNDER_MUSIC, _LEAST_GAIN = 0.5, 0.2, 0.45
# So loud, and so like what is left when one is taken away, are two that sound at nearly the same time.
_DOUBLED_GAIN, _DOUBLED_LIKENESS = 1.3, 0.9
# So plainly heard a cue tells how loud the file is; and if so many are, how late.
_PLAIN_LIKENESS, _ENOUGH_PLAIN = 0.8, 0.5
_BLOCK_FRAMES = 1 << 18
# The first pass finds how late a file is, the next takes away what sounds beside each cue at its right place.
_PASSES = 3
# So many ways of being late are tried for a cue, and one is better that makes it so much more like itself.
_MOST_LATES, _PLAINLY_LIKER = 4, 0.005

Lateness = Callable[[ExpectedCue], int]


def verified(
    expected: Expected,
    heard: Recording,
    programme: SampleFile | None,
    gain_linear: float | None,
    *,
    within_frames: int = 0,
    tell: Callable[[int, int], None] = lambda done, of: None,
) -> Verification:
    """A file held against what it should hold.

    Args:
        expected: the programme's cues, at the file's rate.
        heard: the file, at its own rate.
        programme: the whole of it, mastered, as one channel; None where only the cues are known.
        gain_linear: what mastering does to the cues' samples; None where that is not known.
        within_frames: how much a cue may be off.
        tell: the progress.
    """
    return _Verifier(expected, heard, programme, gain_linear, tell).verification(within_frames)


@dataclass(frozen=True, slots=True)
class _Found:
    """One cue, how late it is exactly, and how like itself it is there."""

    found: VerifiedCue
    exact: float | None
    likeness: float


class _Verifier:
    def __init__(
        self,
        expected: Expected,
        heard: Recording,
        programme: SampleFile | None,
        gain_linear: float | None,
        tell: Callable[[int, int], None],
    ) -> None:
        self.expected, self.file, self.programme = expected, heard, programme
        self.rate_hz = expected.rate_hz
        self.reach = round(_REACH_SECONDS * self.rate_hz)
        self.planned_gain, self.tell = gain_linear, tell
        self.knows_all = programme is not None or not expected.has_bed
        self.cues = [cue for cue in expected.cues if cue.sound in expected.sounds]
        # Whether the file is upside down, which nobody hears.
        self.sign = np.float32(1.0)
        # What the file's level is in terms of the programme's; and of the cues' own samples.
        self.level, self.gain = 1.0, gain_linear or 1.0

    def verification(self, within_frames: int) -> Verification:
        found, speed, courses = self._everywhere()
        there = any(one.found_frame is not None for one in found)
        self.tell(1, 2)
        extras: tuple[Extra, ...] = ()
        rests: tuple[VerifiedRest, ...] = ()
        if self.knows_all and speed is None and there:
            extras, rests, found = self._beside(found, courses)
        self.tell(2, 2)
        compared = {id(one.cue): one for one in found}
        every = tuple(
            compared.get(id(cue), VerifiedCue(cue, None, None, None, False)) for cue in self.expected.cues
        )
        made = Verification(
            self.expected,
            self.rate_hz,
            self.file.frames,
            every,
            rests,
            extras,
            courses,
            speed.ppm if speed else None,
            linear_to_db(self.level) if self.planned_gain and there else None,
            self.programme is not None,  # which alone has been through the limiter
            within_frames,
            tuple(self._notes(runs_off=speed is not None)),
        )
        faults = [*self._file_faults(), *faults_of(made)]
        return replace(made, faults=tuple(faults))

    def _everywhere(self) -> tuple[tuple[VerifiedCue, ...], Speed | None, tuple[Course, ...]]:
        """Every cue, on time or as late as it is; the whole file is searched only if several are missing."""
        on_time: Lateness = lambda cue: 0  # noqa: E731 -- a name for what is passed on
        found = self._found(on_time)
        missing = _missing(found[0])
        if missing < min(_FEW_MISSING, len(self.cues)) or self.file.is_silent:
            return found
        searched = self._searched()
        if searched is None:
            return found
        self.sign = np.float32(1.0)
        again = self._found(searched)
        return again if _missing(again[0]) < missing else self._found(on_time)

    def _found(self, late: Lateness) -> tuple[tuple[VerifiedCue, ...], Speed | None, tuple[Course, ...]]:
        """Every cue; looked for again when it is known how late the file is and what sounds beside each."""
        self._turn(late)
        late, lates = self._learned(late), set[int]()
        for _ in range(_PASSES):
            found = [self._best(cue, late(cue), lates) for cue in self.cues]
            there = [(one.found.cue.start_frame, one.exact) for one in found if one.exact is not None]
            speed, courses = course_or_speed([start for start, _ in there], [exact for _, exact in there])
            late, lates = _late_by(speed, courses), {course.late_frames for course in courses[:_MOST_LATES]}
            if speed is None and courses == (Course(0, 0),):
                break
        kept = tuple(one.found for one in found)
        return (kept if speed else tuple(_in_order(kept, courses))), speed, courses

    def _best(self, cue: ExpectedCue, late: int, lates: Collection[int]) -> _Found:
        """One cue, looked for where it should be and as late as others are: the place most like itself.

        A steady tone may be taken for late by a period more or less until all else is taken away rightly.
        """
        best = self._cue(cue, late)
        for other in lates:
            if other != late and abs(other - late) <= self.reach:
                found = self._cue(cue, other)
                if found.likeness > best.likeness + _PLAINLY_LIKER:
                    best = found
        return best

    def _beside(
        self, found: tuple[VerifiedCue, ...], courses: tuple[Course, ...]
    ) -> tuple[tuple[Extra, ...], tuple[VerifiedRest, ...], tuple[VerifiedCue, ...]]:
        def left(found: tuple[VerifiedCue, ...]) -> Residue:
            frames = self.file.samples.frames
            return Residue(
                Known(self.expected, self._heard, frames, self._planned, self.gain, found, courses)
            )

        made = left(found)
        if made.cues != found:  # what was missing is found elsewhere, and is no longer too much there
            made = left(made.cues)
        return made.extras, made.rests, made.cues

    def _notes(self, *, runs_off: bool) -> Iterator[str]:
        if self.file.problem:
            yield self.file.problem
        if self.sign < 0:
            yield "it is upside down (its polarity is inverted), which nobody hears"
        if missing := len(self.expected.cues) - len(self.cues):
            yield f"{missing} cues are not compared: this machine cannot make their sound"
        if not self.knows_all:
            yield "a timeline holds no music, so what lies beside the cues is not compared; give the plan"
        if runs_off:
            yield "it runs at another speed, so what lies beside the cues is not compared"

    def _file_faults(self) -> Iterator[str]:
        if self.file.is_silent:
            yield "it is silent"
        elif self.file.is_cancelled:
            yield "one of its channels is the other upside down, so that both together are silent"
        elif self.file.silent_side:
            yield f"its {self.file.silent_side} channel is silent"

    def _searched(self) -> Lateness | None:
        """How late each cue is, about, by a search of the whole file; None if nothing is heard."""
        with SampleFile(DETECTOR_RATE_HZ) as low:
            for piece in resampled_pieces(self._pieces(), self.rate_hz, DETECTOR_RATE_HZ, 1):
                low.append(piece[:, 0])
            return self._detected(low)

    def _detected(self, low: SampleFile) -> Lateness | None:
        stretches = detect(self.expected, low, lambda done, of: None).stretches
        if not stretches:
            return voted_lateness(self.cues, self.rate_hz, pieces_of(self.expected), low)
        firsts = [min(one.cues) for one in stretches]
        numbers = {id(cue): number for number, cue in enumerate(self.expected.cues)}

        def late(cue: ExpectedCue) -> int:
            number = numbers[id(cue)]
            within = [one for one in stretches if min(one.cues) <= number <= max(one.cues)]
            at = max(0, bisect_right(firsts, number) - 1)
            line = (within[0] if within else stretches[at]).line
            return round(line.recording_at(cue.start_frame / self.rate_hz) * self.rate_hz) - cue.start_frame

        return late

    def _pieces(self) -> Iterator[NDArray[np.float32]]:
        for start in range(0, self.file.samples.frames, _BLOCK_FRAMES):
            frames = min(_BLOCK_FRAMES, self.file.samples.frames - start)
            yield self._heard(start, frames)[:, np.newaxis]

    def _some_cues(self) -> list[ExpectedCue]:
        if not self.cues:
            return []
        return [self.cues[at] for at in np.linspace(0, len(self.cues) - 1, _FEW_CUES).astype(int)]

    def _turn(self, late: Lateness) -> None:
        """Takes the file upside down if nearly all cues are more like themselves so."""
        windows = [(self._window(cue, late(cue)), cue) for cue in self._some_cues()]
        turned = sum(
            self._located(-window, cue).likeness > self._located(window, cue).likeness
            for window, cue in windows
        )
        if turned >= _NEARLY_ALL_TURNED * max(1, len(windows)):
            self.sign = np.float32(-1.0)

    def _heard(self, start_frame: int, frames: int) -> Samples:
        """The file between two of its frames, the right way up."""
        return self.sign * self.file.samples.read(start_frame, frames)

    def _located(self, window: Samples, cue: ExpectedCue) -> Located:
        return located(window, self.expected.sounds[cue.sound], self.reach, self.rate_hz)

    def _window(self, cue: ExpectedCue, late: int) -> Samples:
        return self._heard(cue.start_frame + late - self.reach, cue.frames + 2 * self.reach)

    def _learned(self, late: Lateness) -> Lateness:
        """How late each cue is, more exactly, and how loud the file is; by those that are plainly heard.

        They are compared as they were rendered, with all that sounds beside them: music tells, too.
        """
        levels, there = [], []
        for cue in self.cues:
            rendered = self._as_rendered(cue.start_frame, cue.frames)
            found = located(self._window(cue, late(cue)), rendered, self.reach, self.rate_hz)
            if found.likeness > _PLAIN_LIKENESS:
                levels.append(found.gain_linear)
                there.append((cue.start_frame, late(cue) + found.late_frames - self.reach))
        if not levels:
            return late
        level = float(np.median(levels))
        self.level, self.gain = level if self.planned_gain else 1.0, level * (self.planned_gain or 1.0)
        if len(there) < _ENOUGH_PLAIN * len(self.cues):
            return late
        return _late_by(*course_or_speed([start for start, _ in there], [exact for _, exact in there]))

    def _as_rendered(self, start_frame: int, frames: int) -> Samples:
        """What is known to sound between frames of the programme, as loud as it was rendered."""
        if self.programme is not None:
            return self.programme.read(start_frame, frames)
        return np.float32(self.planned_gain or 1.0) * self.expected.cue_samples(start_frame, frames)

    def _planned(self, start_frame: int, frames: int) -> Samples:
        """What is known to sound between frames of the programme, as loud as the file has it."""
        level = self.level if self.planned_gain else self.gain
        return np.float32(level) * self._as_rendered(start_frame, frames)

    def _cue(self, cue: ExpectedCue, late: int) -> _Found:
        away = 0
        for _ in range(_FOLLOWED):
            centre, found = away, self._located(self._alone(cue, late, away), cue)
            away = centre + found.frame - self.reach
            if abs(away - centre) <= self.reach // 2:
                break
        is_top = abs(away - centre) <= self.reach // 2  # else it may be the slope of something further away
        if not is_top or not self._is_there(found.likeness, found.gain_linear):
            return _Found(VerifiedCue(cue, None, None, None), None, found.likeness)
        exact = late + centre + found.late_frames - self.reach
        if round(exact) != late and self._is_doubled(cue, late, found):
            return _Found(VerifiedCue(cue, cue.mark_frame + late, late, 0.0), late, found.likeness)
        error = round(exact)
        level_db = linear_to_db(found.gain_linear / self.gain)
        return _Found(VerifiedCue(cue, cue.mark_frame + error, error, level_db), exact, found.likeness)

    def _is_doubled(self, cue: ExpectedCue, late: int, found: Located) -> bool:
        """Whether a cue sounds at its place and once more beside it, which together seem to lie between."""
        if found.gain_linear < _DOUBLED_GAIN * self.gain:
            return False
        window = self._alone(cue, late, 0)
        add(window, self.expected.sounds[cue.sound], self.reach, -self.gain)
        return self._located(window, cue).likeness > _DOUBLED_LIKENESS

    def _alone(self, cue: ExpectedCue, late: int, away: int) -> Samples:
        """The file around `away` from where a cue should be, without all else that sounds there."""
        frames = cue.frames + 2 * self.reach
        window = self._window(cue, late + away) - self._planned(cue.start_frame + away - self.reach, frames)
        add(window, self.expected.sounds[cue.sound], self.reach - away, self.gain)
        return window

    def _is_there(self, likeness: float, gain: float) -> bool:
        least = _LEAST_LIKENESS if self.knows_all else _LEAST_LIKENESS_UNDER_MUSIC
        return likeness >= least and gain >= _LEAST_GAIN * self.gain


def _in_order(found: Collection[VerifiedCue], courses: tuple[Course, ...]) -> Iterator[VerifiedCue]:
    """The cues, without those that only seem to be found, behind where the file goes on from elsewhere."""
    for one in found:
        cue = one.cue
        ends = [
            after.from_frame + after.late_frames for after in courses if after.from_frame > cue.start_frame
        ]
        late = one.error_frames
        if late is not None and ends and cue.start_frame + late >= min(ends):
            yield VerifiedCue(cue, None, None, None)
        else:
            yield one


def _missing(found: Collection[VerifiedCue]) -> int:
    return sum(one.found_frame is None for one in found)


def _late_by(speed: Speed | None, courses: tuple[Course, ...]) -> Lateness:
    if speed is not None:
        return lambda cue: speed.late_at(cue.start_frame)
    return lambda cue: late_at(courses, cue.start_frame)
