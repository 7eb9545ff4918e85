"""A programme and a file that should hold it → where each cue is, what is missing, and what is too much.

Every cue is found by the matched filter of its own sound, after all else that is known to sound with it has
been taken away. What is then left of the file belongs to nobody: an extra sound, or noise of a codec, which
lies under what it codes.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import inf, log10

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.decoding import resampled_pieces
from cuetrack.take.courses import Course, Speed, courses_of, late_at, speed_of
from cuetrack.take.detect import detect
from cuetrack.take.expected import Expected, ExpectedCue, ExpectedPhase, add
from cuetrack.take.locate import Located, located
from cuetrack.take.pieces import DETECTOR_RATE_HZ
from cuetrack.take.recording import Recording
from cuetrack.take.samples import SampleFile, Samples
from cuetrack.timebase import frame_clock_text

# How far from its place a cue is looked for at first.
_REACH_SECONDS = 0.05
# Of this many cues, evenly spread, most are looked for on time before the whole file is searched.
_FIRST_CUES, _ENOUGH_ON_TIME = 24, 0.6
# A cue is there if it is as like as this to its own sound, and no softer than half of what it should be.
_LEAST_LIKENESS, _LEAST_LIKENESS_UNDER_MUSIC, _LEAST_GAIN = 0.5, 0.2, 0.5
# The limiter bent a cue a little at the place it was rendered for; so much of it may be left elsewhere.
_MOVED_SHARE = 0.3
# Nobody hears what is softer; dither of 16 bits lies at -93 dBFS.
_FLOOR_DBFS = -75.0
_STEP_SECONDS = 0.01
# A codec's noise reaches so far before and behind what it codes; what is twice as strong as nearly all of it
# (by its share of what it codes) is no noise.
_SPREAD_SECONDS, _NEARLY_ALL, _OVER_NOISE, _LEAST_SHARE = 0.1, 0.999, 4.0, 1e-5
_JOINED_SECONDS = 0.1
_BLOCK_FRAMES = 1 << 18
# What a lossy file may hold behind the programme's end: one block of the longest codec.
_PADDING_FRAMES = 4_096
_MOST_EXTRAS = 200
# The first pass finds how late a file is, the next takes away what sounds beside each cue at its right place.
_PASSES = 3
_EXTRA_LIKENESS = 0.6


@dataclass(frozen=True, slots=True)
class VerifiedCue:
    """One cue: where it was found, or that it was not (None).

    `error_frames` is how much later its mark is than planned; `level_db` how much louder than planned.
    `is_compared` is False where nothing was known to compare it with.
    """

    cue: ExpectedCue
    found_frame: int | None
    error_frames: int | None
    level_db: float | None
    is_compared: bool = True


@dataclass(frozen=True, slots=True)
class Extra:
    """A sound that the plan does not have; `like` is a cue that it sounds like."""

    start_frame: int
    frames: int
    level_dbfs: float
    like: str | None


@dataclass(frozen=True, slots=True)
class VerifiedRest:
    """What lies in a rest beside what is planned there.

    `loudest_dbfs` is the loudest of it, -inf for nothing; `is_exact_zero` says whether every sample is zero
    where none is planned to be anything else.
    """

    phase: ExpectedPhase
    loudest_dbfs: float
    is_exact_zero: bool
    passed: bool


@dataclass(frozen=True, slots=True)
class Verification:
    """What became of a programme in a file.

    `courses` tell by how many frames everything is late, from where on; `speed_ppm` how much too slow it
    runs; `level_db` how much louder it is than it was rendered, None where that is not known. `notes` say
    what was not compared, `faults` why it fails.
    """

    expected: Expected
    rate_hz: int
    frames: int
    cues: tuple[VerifiedCue, ...]
    rests: tuple[VerifiedRest, ...]
    extras: tuple[Extra, ...]
    courses: tuple[Course, ...]
    speed_ppm: float | None
    level_db: float | None
    notes: tuple[str, ...]
    faults: tuple[str, ...] = field(default=())

    @property
    def passed(self) -> bool:
        """Whether the file is what was planned."""
        return not self.faults


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
    return _Verifier(expected, heard, programme, gain_linear, within_frames, tell).verification()


class _Verifier:
    def __init__(
        self,
        expected: Expected,
        heard: Recording,
        programme: SampleFile | None,
        gain_linear: float | None,
        within_frames: int,
        tell: Callable[[int, int], None],
    ) -> None:
        self.expected, self.heard, self.programme = expected, heard, programme
        self.rate_hz = expected.rate_hz
        self.reach = round(_REACH_SECONDS * self.rate_hz)
        self.planned_gain, self.within, self.tell = gain_linear, within_frames, tell
        self.knows_all = programme is not None or not expected.has_bed
        # What the file's level is in terms of the programme's; and of the cues' own samples.
        self.level, self.gain = 1.0, gain_linear or 1.0

    def verification(self) -> Verification:
        cues = [cue for cue in self.expected.cues if cue.sound in self.expected.sounds]
        late = self._lateness(cues)
        self._learn_level(cues, late)
        found, speed, courses = self._found(cues, late)
        there = any(one.found_frame is not None for one in found)
        self.tell(1, 2)
        extras: tuple[Extra, ...] = ()
        rests: tuple[VerifiedRest, ...] = ()
        if self.knows_all and speed is None and there:
            rest = _Rest(self, found, courses)
            if rest.cues != found:  # what was missing is found elsewhere, and is no longer too much there
                rest = _Rest(self, rest.cues, courses)
            extras, rests, found = rest.extras, rest.rests, rest.cues
        self.tell(2, 2)
        notes = self._notes(cues, speed is not None)
        compared = {id(one.cue): one for one in found}
        every = tuple(
            compared.get(id(cue), VerifiedCue(cue, None, None, None, False)) for cue in self.expected.cues
        )
        level_db = 20 * log10(self.level) if self.planned_gain and there else None
        made = Verification(
            self.expected,
            self.rate_hz,
            self.heard.frames,
            every,
            rests,
            extras,
            courses,
            speed.ppm if speed else None,
            level_db,
            notes,
        )
        return replace(made, faults=tuple(_faults(made, self.within)))

    def _found(
        self, cues: Sequence[ExpectedCue], late: Callable[[ExpectedCue], int]
    ) -> tuple[list[VerifiedCue], Speed | None, tuple[Course, ...]]:
        """Every cue; looked for again when it is known how late the file is and what sounds beside each."""
        for _ in range(_PASSES):
            found = [self._cue(cue, late(cue)) for cue in cues]
            there = [(one.cue.start_frame, one.error_frames) for one in found if one.error_frames is not None]
            starts, errors = [start for start, _ in there], [error for _, error in there]
            speed, courses = speed_of(starts, errors), courses_of(starts, errors)
            late = _late_by(speed, courses)
            if speed is None and courses == (Course(0, 0),):
                break
        return found, speed, courses

    def _notes(self, cues: Sequence[ExpectedCue], runs_off: bool) -> tuple[str, ...]:
        notes = [self.heard.problem] if self.heard.problem else []
        if missing := len(self.expected.cues) - len(cues):
            notes.append(f"{missing} spoken cues are not compared: their voice is not on this machine")
        if not self.knows_all:
            notes.append(
                "a timeline holds no music, so what lies beside the cues is not compared; give the plan"
            )
        if runs_off:
            notes.append("it runs at another speed, so what lies beside the cues is not compared")
        return tuple(notes)

    def _lateness(self, cues: Sequence[ExpectedCue]) -> Callable[[ExpectedCue], int]:
        """Where to look for each cue: how many frames late it is, about."""
        some = (
            [cues[i] for i in np.unique(np.linspace(0, len(cues) - 1, _FIRST_CUES).astype(int))]
            if cues
            else []
        )
        on_time = sum(self._is_about(cue) for cue in some)
        if on_time >= _ENOUGH_ON_TIME * len(some):
            return lambda cue: 0
        with SampleFile(DETECTOR_RATE_HZ) as low:
            for piece in resampled_pieces(self._pieces(), self.rate_hz, DETECTOR_RATE_HZ, 1):
                low.append(piece[:, 0])
            stretches = detect(self.expected, low, lambda done, of: None).stretches
        if not stretches:
            return lambda cue: 0
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
        for start in range(0, self.heard.samples.frames, _BLOCK_FRAMES):
            frames = min(_BLOCK_FRAMES, self.heard.samples.frames - start)
            yield self.heard.samples.read(start, frames)[:, np.newaxis]

    def _is_about(self, cue: ExpectedCue) -> bool:
        found = self._located(self._window(cue, 0), cue)
        return found.likeness >= _LEAST_LIKENESS_UNDER_MUSIC

    def _located(self, window: Samples, cue: ExpectedCue) -> Located:
        return located(window, self.expected.sounds[cue.sound], self.reach, self.rate_hz)

    def _window(self, cue: ExpectedCue, late: int) -> Samples:
        return self.heard.samples.read(cue.start_frame + late - self.reach, cue.frames + 2 * self.reach)

    def _learn_level(self, cues: Sequence[ExpectedCue], late: Callable[[ExpectedCue], int]) -> None:
        """How loud the file is, by those cues that are plainly heard."""
        gains = []
        for cue in cues:
            found = self._located(self._window(cue, late(cue)), cue)
            if found.likeness > 0.8:
                gains.append(found.gain_linear)
        if gains:
            self.gain = float(np.median(gains))
            self.level = self.gain / self.planned_gain if self.planned_gain else 1.0

    def planned(self, start_frame: int, frames: int) -> Samples:
        """What is known to sound between frames of the programme, as loud as the file has it."""
        if self.programme is not None:
            return np.float32(self.level) * self.programme.read(start_frame, frames)
        return np.float32(self.gain) * self.expected.cue_samples(start_frame, frames)

    def _cue(self, cue: ExpectedCue, late: int) -> VerifiedCue:
        sound = self.expected.sounds[cue.sound]
        window = self._window(cue, late) - self.planned(
            cue.start_frame - self.reach, cue.frames + 2 * self.reach
        )
        window[self.reach : self.reach + cue.frames] += np.float32(self.gain) * sound
        found = self._located(window, cue)
        if not self._is_there(found.likeness, found.gain_linear):
            return VerifiedCue(cue, None, None, None)
        error = late + found.frame - self.reach
        return VerifiedCue(cue, cue.mark_frame + error, error, 20 * log10(found.gain_linear / self.gain))

    def _is_there(self, likeness: float, gain: float) -> bool:
        least = _LEAST_LIKENESS if self.knows_all else _LEAST_LIKENESS_UNDER_MUSIC
        return likeness >= least and gain >= _LEAST_GAIN * self.gain


def _late_by(speed: Speed | None, courses: tuple[Course, ...]) -> Callable[[ExpectedCue], int]:
    if speed is not None:
        return lambda cue: speed.late_at(cue.start_frame)
    return lambda cue: late_at(courses, cue.start_frame)


def _faults(made: Verification, within: int) -> Iterator[str]:
    compared = [one for one in made.cues if one.is_compared]
    if not any(one.found_frame is not None for one in compared):
        yield "none of the plan's cues is in this file"
        return
    if made.speed_ppm is not None:
        word = "slowly" if made.speed_ppm > 0 else "fast"
        yield f"it runs {abs(made.speed_ppm):.1f} ppm too {word}"
    elif len(made.courses) > 1 or abs(made.courses[0].late_frames) > within:
        for course in made.courses:
            if abs(course.late_frames) > within:
                at = frame_clock_text(course.from_frame, made.rate_hz, 1)
                whole = "everything" if len(made.courses) == 1 else f"from {at} on everything"
                yield f"{whole} is {late_text(course.late_frames, made.rate_hz)}"
    missing = sum(one.found_frame is None for one in compared)
    if missing:
        yield f"{missing} {'cue is' if missing == 1 else 'cues are'} missing"
    if made.speed_ppm is None:
        usual = {course.late_frames for course in made.courses}
        off = [one for one in compared if one.error_frames is not None and abs(one.error_frames) > within]
        alone = sum(one.error_frames not in usual for one in off)
        if alone:
            yield f"{alone} {'cue is' if alone == 1 else 'cues are'} at the wrong place"
    if made.extras:
        yield f"{len(made.extras)} {'sound does' if len(made.extras) == 1 else 'sounds do'} not belong there"
    bad = sum(not one.passed for one in made.rests)
    if bad:
        yield f"{bad} {'rest is' if bad == 1 else 'rests are'} not as planned"
    over = made.frames - made.expected.frames
    if over < 0 or over > _PADDING_FRAMES:
        yield f"it is {abs(over)} frames {'shorter' if over < 0 else 'longer'} than planned"


def late_text(frames: int, rate_hz: int) -> str:
    """How late something is, for people: `48 frames (1.0 ms) late`."""
    if not frames:
        return "on time"
    word, number = ("late" if frames > 0 else "early"), abs(frames)
    return f"{number} {'frame' if number == 1 else 'frames'} ({1000 * number / rate_hz:.2f} ms) {word}"


class _Rest:
    """What is left of a file when all that was found is taken away."""

    def __init__(self, verifier: _Verifier, found: Sequence[VerifiedCue], courses: Sequence[Course]) -> None:
        self._of, self._found, self._courses = verifier, list(found), courses
        self._step = round(_STEP_SECONDS * verifier.rate_hz)
        self._moves = sorted(self._corrections(), key=lambda one: one[0])
        left, known, zero = self._levels()
        loud = self._too_loud(left, known)
        self.extras = self._named(list(self._regions(loud, left)))
        self.cues = self._found
        self.rests = tuple(self._rests(left, zero))

    def _corrections(self) -> Iterator[tuple[int, Samples, float]]:
        """For cues that are not where they were planned: what to add to the plan, and on which frame."""
        for one in self._found:
            usual = late_at(self._courses, one.cue.start_frame)
            if one.error_frames == usual:
                continue
            sound = self._of.expected.sounds[one.cue.sound]
            yield one.cue.start_frame, sound, -self._of.gain
            if one.error_frames is not None:
                yield one.cue.start_frame + one.error_frames - usual, sound, self._of.gain

    def _parts(self) -> Iterator[tuple[int, int, int]]:
        """First and last frame of the file, and how late, of each course."""
        ends = [course.from_frame for course in self._courses[1:]] + [None]
        for course, end in zip(self._courses, ends, strict=True):
            first = course.from_frame + course.late_frames if course.from_frame else 0
            last = end + course.late_frames if end is not None else self._of.heard.samples.frames
            yield max(0, first), max(0, last), course.late_frames

    def _levels(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
        """For each step: the power that is left, that is known, and if none is, whether all is zero."""
        steps = -(-self._of.heard.samples.frames // self._step)
        left, known, zero = np.zeros(steps), np.zeros(steps), np.ones(steps, bool)
        block = _BLOCK_FRAMES // self._step * self._step
        for start in range(0, self._of.heard.samples.frames, block):
            frames = min(block, self._of.heard.samples.frames - start)
            heard = self._of.heard.samples.read(start, frames)
            plan = self._planned(start, frames)
            slots = slice(start // self._step, start // self._step - (-frames // self._step))
            left[slots] = _step_powers(heard - plan, self._step)
            known[slots] = _step_powers(plan, self._step)
            zero[slots] = (_step_powers(heard, self._step) == 0) | (known[slots] > 0)
        return left, known, zero

    def _planned(self, start: int, frames: int) -> Samples:
        made = np.zeros(frames, np.float32)
        for first, last, late in self._parts():
            low, high = max(start, first), min(start + frames, last)
            if low >= high:
                continue
            part = self._of.planned(low - late, high - low).copy()
            for at, sound, gain in self._moves:
                if at < high - late and at + len(sound) > low - late:
                    add(part, sound, at - (low - late), gain)
            made[low - start : high - start] = part
        return made

    def _too_loud(self, left: NDArray[np.float64], known: NDArray[np.float64]) -> NDArray[np.bool_]:
        from scipy.ndimage import maximum_filter1d

        spread = 2 * round(_SPREAD_SECONDS / _STEP_SECONDS) + 1
        near = maximum_filter1d(known, spread)
        audible = near > 10 ** (_FLOOR_DBFS / 10)
        noise = float(np.quantile(left[audible] / near[audible], _NEARLY_ALL)) if audible.any() else 0.0
        share = np.full(len(left), max(_LEAST_SHARE, min(1.0, _OVER_NOISE * noise)))
        for at, sound, _ in self._moves:
            first = (at + late_at(self._courses, at)) // self._step - spread
            share[max(0, first) : max(0, first + len(sound) // self._step + 2 * spread)] = _MOVED_SHARE
        return np.asarray(left > np.maximum(10 ** (_FLOOR_DBFS / 10), share * near))

    def _regions(self, loud: NDArray[np.bool_], left: NDArray[np.float64]) -> Iterator[Extra]:
        joined = round(_JOINED_SECONDS / _STEP_SECONDS)
        steps = np.flatnonzero(loud)
        for group in np.split(steps, np.flatnonzero(np.diff(steps) > joined) + 1) if len(steps) else ():
            first, last = int(group[0]), int(group[-1]) + 1
            level = 10 * log10(float(left[first:last].max()))
            yield Extra(first * self._step, (last - first) * self._step, level, None)

    def _named(self, regions: list[Extra]) -> tuple[Extra, ...]:
        """The regions, those that are a missing cue turned into where that is."""
        kept: list[Extra] = []
        for extra in regions[:_MOST_EXTRAS]:
            index, frame = self._missing_in(extra)
            if index is not None:
                cue = self._found[index].cue
                error = frame - cue.start_frame
                self._found[index] = VerifiedCue(cue, cue.mark_frame + error, error, 0.0)
            else:
                kept.append(replace(extra, like=self._like(extra)))
        return (*kept, *regions[_MOST_EXTRAS:])

    def _missing_in(self, extra: Extra) -> tuple[int | None, int]:
        best, likeness, frame = None, _EXTRA_LIKENESS, 0
        for index, one in enumerate(self._found):
            if one.found_frame is None:
                found, at = self._fits(extra, one.cue)
                if found > likeness:
                    best, likeness, frame = index, found, at
        return best, frame

    def _like(self, extra: Extra) -> str | None:
        near = {
            one.cue.sound: one.cue
            for one in self._found
            if one.cue.text is None or abs(one.cue.start_frame - extra.start_frame) < 30 * self._of.rate_hz
        }
        fits = [(self._fits(extra, cue)[0], cue.said) for cue in near.values()]
        likeness, said = max(fits, default=(0.0, ""))
        return said if likeness > _EXTRA_LIKENESS else None

    def _fits(self, extra: Extra, cue: ExpectedCue) -> tuple[float, int]:
        """How like a region is to a cue's sound, and on which frame of the file that begins."""
        sound = self._of.expected.sounds[cue.sound]
        if extra.frames > 2 * len(sound) + 4 * self._step:
            return 0.0, 0
        first = extra.start_frame - len(sound) // 2 - self._step
        frames = extra.frames + len(sound) + 2 * self._step + len(sound)
        start = max(0, first)
        window = self._of.heard.samples.read(start, frames)
        plan = self._planned(start, frames)
        found = located(window - plan, sound, extra.start_frame - start, self._of.rate_hz)
        return found.likeness, start + found.frame

    def _rests(self, left: NDArray[np.float64], zero: NDArray[np.bool_]) -> Iterator[VerifiedRest]:
        for phase in self._of.expected.phases:
            if phase.kind != "rest":
                continue
            late = late_at(self._courses, phase.start_frame)
            first = max(0, -(-(phase.start_frame + late) // self._step))
            last = max(first, (phase.end_frame + late) // self._step)
            loudest = float(left[first:last].max()) if last > first else 0.0
            extra = any(
                one.start_frame < phase.end_frame + late
                and one.start_frame + one.frames > phase.start_frame + late
                for one in self.extras
            )
            level = 10 * log10(loudest) if loudest > 0 else -inf
            yield VerifiedRest(phase, level, bool(zero[first:last].all()), not extra)


def _step_powers(samples: Samples, step: int) -> NDArray[np.float64]:
    """The mean square of each step; the last may be shorter."""
    steps = -(-len(samples) // step)
    padded = np.zeros(steps * step, np.float64)
    padded[: len(samples)] = samples
    return np.asarray(np.square(padded).reshape(-1, step).mean(axis=1))
