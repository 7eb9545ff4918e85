"""What became of a programme in a file: every cue, rest and extra sound; and in words what is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from cuetrack.take.courses import Course, late_at
from cuetrack.take.expected import Expected, ExpectedCue, ExpectedPhase
from cuetrack.timebase import frame_clock_text

# What a lossy file may hold behind the programme's end: one block of the longest codec.
_PADDING_FRAMES = 4_096
# A codec changes a cue's level by half a dB; who listens closely hears one. Common practice, no source.
_MOST_LEVEL_DB = 1.5
# With fewer of its cues it may be another session's file; and so many have to agree on how late it is.
_FEW, _AGREED = 0.4, 0.5


@dataclass(frozen=True, slots=True)
class VerifiedCue:
    """One cue: where it was found, or that it was not (None).

    `error_frames` is how much later its mark is than planned; `level_db` how much louder it is than planned,
    the level of the whole file apart. `is_compared` is False where nothing was known to compare it with.
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
    runs; `level_db` how much louder it is than it was rendered, None where that is not known. Where not
    `knows_levels` the limiter, too, may have made cues softer. By `within_frames` a cue may be off. `notes`
    say what was not compared, `faults` why it fails.
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
    knows_levels: bool
    within_frames: int
    notes: tuple[str, ...]
    faults: tuple[str, ...] = field(default=())

    @property
    def passed(self) -> bool:
        """Whether the file is what was planned."""
        return not self.faults

    @property
    def late_frames(self) -> int | None:
        """By how much everything is late; None if not all of it is late by the same."""
        return self.courses[0].late_frames if len(self.courses) == 1 and self.speed_ppm is None else None

    def is_off(self, one: VerifiedCue) -> bool:
        """Whether a cue is at another place than both its own and that of all around it."""
        if one.error_frames is None or self.speed_ppm is not None:
            return False
        usual = late_at(self.courses, one.cue.start_frame)
        return min(abs(one.error_frames), abs(one.error_frames - usual)) > self.within_frames

    def is_changed(self, one: VerifiedCue) -> bool:
        """Whether a cue is softer or louder than it should be."""
        return self.knows_levels and one.level_db is not None and abs(one.level_db) > _MOST_LEVEL_DB


def faults_of(made: Verification) -> Iterator[str]:
    """What is wrong, the most telling first."""
    compared = [one for one in made.cues if one.is_compared]
    there = [one for one in compared if one.found_frame is not None]
    if compared and not there:
        yield "none of the plan's cues is in this file"
        yield from _length(made)
        return
    inside = [one for one in compared if one.cue.start_frame < made.frames]
    if len(there) < _FEW * len(inside):
        yield f"only {len(there)} of the {len(compared)} cues are in this file: it may hold something else"
    yield from _late(made, there)
    if missing := len(compared) - len(there):
        yield f"{missing} {'cue is' if missing == 1 else 'cues are'} missing"
    off = [one for one in there if made.is_off(one)]
    if off:
        most = max((one.error_frames or 0 for one in off), key=abs)
        by = f"{'by' if len(off) == 1 else 'by up to'} {late_text(most, made.rate_hz)}"
        yield f"{len(off)} {'cue is' if len(off) == 1 else 'cues are'} at the wrong place, {by}"
    changed = sum(made.is_changed(one) and one not in off for one in there)
    if changed:
        yield f"{changed} {'cue is' if changed == 1 else 'cues are'} softer or louder than planned"
    if made.extras:
        yield f"{len(made.extras)} {'sound does' if len(made.extras) == 1 else 'sounds do'} not belong there"
    if bad := sum(not one.passed for one in made.rests):
        yield f"{bad} {'rest is' if bad == 1 else 'rests are'} not as planned"
    yield from _length(made)


def _length(made: Verification) -> Iterator[str]:
    over = made.frames - made.expected.frames
    if over < 0 or over > _PADDING_FRAMES:
        word = "shorter" if over < 0 else "longer"
        yield f"it is {length_text(abs(over), made.rate_hz)} {word} than planned"


def _late(made: Verification, there: list[VerifiedCue]) -> Iterator[str]:
    if made.speed_ppm is not None:
        if any(abs(one.error_frames or 0) > made.within_frames for one in there):
            word = "slowly" if made.speed_ppm > 0 else "fast"
            yield f"it runs {abs(made.speed_ppm):.1f} ppm too {word}"
        return
    usual = sum(one.error_frames == late_at(made.courses, one.cue.start_frame) for one in there)
    if usual < _AGREED * len(there):
        return
    for before, course in zip((None, *made.courses), made.courses, strict=False):
        if abs(course.late_frames) > made.within_frames:
            at = frame_clock_text(course.from_frame, made.rate_hz, 1)
            what = "everything is" if len(made.courses) == 1 else f"from {at} on everything is"
            yield f"{what} {late_text(course.late_frames, made.rate_hz)}"
        elif before is not None and abs(before.late_frames) > made.within_frames:
            at = frame_clock_text(course.from_frame, made.rate_hz, 1)
            yield f"from {at} on everything is on time again"


def length_text(frames: int, rate_hz: int) -> str:
    """A length for people: `48 frames (1.00 ms)`, `144000 frames (3.00 s)`."""
    seconds = frames / rate_hz
    text = f"{1000 * seconds:.2f} ms" if seconds < 1 else f"{seconds:.2f} s"
    return f"{frames} {'frame' if frames == 1 else 'frames'} ({text})"


def late_text(frames: int, rate_hz: int) -> str:
    """How late something is, for people: `48 frames (1.00 ms) late`."""
    if not frames:
        return "on time"
    return f"{length_text(abs(frames), rate_hz)} {'late' if frames > 0 else 'early'}"
