"""An arrangement and where it runs in a recording → the same on the recording's own time axis.

What is written from an arrangement (captions, chapters, markers) can so be written for a recording. A
phase in which the coach paused lasts longer; what was repeated is there twice; what was not heard is not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.take.align import Alignment, Stretch
from cuetrack.timebase import Instant
from cuetrack.timeline.phases import Phase


@dataclass(frozen=True, slots=True)
class _Begun:
    """A phase of the programme, from the frame of the recording on which it begins, in a stretch."""

    phase: Phase
    start_frame: int
    stretch: int


def retimed(arrangement: Arrangement, alignment: Alignment) -> Arrangement:
    """The arrangement as it happens in the recording, at the recording's rate.

    Args:
        arrangement: of the mix that was looked for, at the rate of `alignment.expected`.
        alignment: with one stretch or more.
    """
    rate_hz, frames = alignment.rate_hz, alignment.frames
    begun = list(_begun(arrangement, alignment))
    phases: list[Phase] = []
    numbers: dict[tuple[int, int], int] = {}
    for number, one in enumerate(begun):
        start = one.start_frame if number else 0
        end = begun[number + 1].start_frame if number + 1 < len(begun) else frames
        if start >= end:
            continue
        numbers[one.stretch, one.phase.index] = len(phases)
        start_at, end_at = (Instant(Fraction(frame, rate_hz)) for frame in (start, end))
        phases.append(replace(one.phase, index=len(phases), start=start_at, end=end_at))
    placed = [
        moved
        for number, stretch in enumerate(alignment.stretches)
        for moved in _placed(arrangement, alignment, number, stretch, numbers)
    ]
    placed.sort(key=lambda one: one.start_frame)
    cues = tuple(one.cue for one in placed)
    timeline = replace(arrangement.timeline, phases=tuple(phases), cues=cues, bed=())
    return Arrangement(timeline, rate_hz, frames, tuple(placed))


def _begun(arrangement: Arrangement, alignment: Alignment) -> Iterator[_Begun]:
    """Every phase that is under way in a stretch, in the order of the recording."""
    phases = arrangement.timeline.phases
    before = -1
    for number, stretch in enumerate(alignment.stretches):
        first, last = whole_span(alignment, number)
        for phase in phases:
            start, end = float(phase.start.seconds), float(phase.end.seconds)
            if end <= first or start >= last:
                continue
            frame = round(stretch.line.recording_at(max(start, first)) * alignment.rate_hz)
            frame = max(0, before + 1, frame)
            if frame < alignment.frames:
                before = frame
                yield _Begun(phase, frame, number)


def whole_span(alignment: Alignment, number: int) -> tuple[float, float]:
    """From where to where in the programme a stretch runs, in seconds.

    What is heard of it, and at the programme's ends what is silent there, as far as it was recorded.
    """
    stretch = alignment.stretches[number]
    first, last = stretch.programme_start_seconds, stretch.programme_end_seconds
    cues, earliest, latest = alignment.expected.cues, min(stretch.heard), max(stretch.heard)
    if earliest == 0:
        first = max(0.0, stretch.line.programme_at(_end_before(alignment, number)))
    if latest == len(cues) - 1:
        last = min(alignment.expected.seconds, stretch.line.programme_at(_start_behind(alignment, number)))
    return min(first, stretch.programme_start_seconds), max(last, stretch.programme_end_seconds)


def _end_before(alignment: Alignment, number: int) -> float:
    return alignment.stretches[number - 1].recording_end_seconds if number else 0.0


def _start_behind(alignment: Alignment, number: int) -> float:
    later = alignment.stretches[number + 1 :]
    return later[0].recording_start_seconds if later else alignment.seconds


def _placed(
    arrangement: Arrangement,
    alignment: Alignment,
    number: int,
    stretch: Stretch,
    numbers: dict[tuple[int, int], int],
) -> Iterator[Placed]:
    """The cues of a stretch where they are in the recording, those that are wholly in it."""
    own_hz, rate_hz = arrangement.rate_hz, alignment.rate_hz

    def moved(frame: int) -> int:
        return round(stretch.line.recording_at(frame / own_hz) * rate_hz)

    for index in stretch.cues:
        one = arrangement.placed[index]
        phase = numbers.get((number, one.cue.phase_index))
        start, end = moved(one.start_frame), moved(one.start_frame + one.frames)
        if phase is None or start < 0 or end > alignment.frames or start >= end:
            continue
        mark = min(max(0, moved(one.mark_frame)), alignment.frames)
        cue = replace(one.cue, phase_index=phase, mark=Instant(Fraction(mark, rate_hz)))
        yield replace(one, start_frame=start, frames=end - start, mark_frame=mark, cue=cue)
