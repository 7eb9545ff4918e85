"""The counts into and out of a run, by tones, by voice or by both, and the word or tone they lead to."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import ceil, floor

from cuetrack.sound.tone_table import COUNTDOWNS
from cuetrack.timebase import Duration, Instant, duration_text
from cuetrack.timeline.calls import CallSettings, CountSetting
from cuetrack.timeline.collector import CueCollector, room_in, room_into
from cuetrack.timeline.cues import Phrase, Room, Window
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.runs import Run

# From the start of a change until its side is called. Common practice, no source.
CALL_OF_CHANGE = Duration(Fraction(7, 2))


def count_into(cues: CueCollector, run: Run, settings: CallSettings) -> Instant:
    """Adds the count into `run`; the instant at which it begins."""
    count = settings.start
    room = room_into(run, count.longest)
    points = _points_that_fit(cues, count, run.lead, f"before {run.move.move!r}", room)
    if count.points.is_default and run.is_second_side and settings.side.value and run.gap:
        # A built-in count gives way to the call of the side, which is worth more than its tones.
        called = run.gap[0].start + CALL_OF_CHANGE
        points = tuple(point for point in points if run.start - Duration(point) >= called)
    earliest = run.lead[0].start if run.lead else run.start
    _count(cues, run, count, points, run.start, earliest, room)
    if count.by_voice:
        window = Window(earliest, run.phases[0].end)
        cues.count_word(Phrase("go"), run.start, window, room, count.by.place)
    return run.start - Duration(points[0] if points else Fraction(0))


def count_out(cues: CueCollector, run: Run, settings: CallSettings) -> Instant:
    """Adds the count out of `run`; the instant at which it begins."""
    count, where = settings.finish, f"of {run.move.move!r}"
    room = room_in(run.phases, where)
    points = _points_that_fit(cues, count, run.phases, where, room)
    _count(cues, run, count, points, run.end, run.start, room)
    following = cues.following(run)
    # A change of side is called, and the next run is counted into; else a word says that it is over.
    if count.by_voice and following is not None and following.kind not in {"change", "work"}:
        word = Phrase("rest" if following.part else "finished")
        window = Window(run.start, following.end)
        behind = room_in((following,), f"after {run.move.move!r}")
        cues.count_word(word, run.end, window, behind, count.by.place, closes=True)
    return run.end - Duration(points[0] if points else Fraction(0))


def _points_that_fit(
    cues: CueCollector, count: CountSetting, within: Sequence[Phase], where: str, room: Room
) -> tuple[Fraction, ...]:
    """The count's points inside `within`; those that a coach wrote and that do not fit are faults."""
    if count.by.value == "none":
        return ()
    available = within[-1].end - within[0].start if within else Duration(Fraction(0))
    points: tuple[Fraction, ...] = count.points.value
    if count.points.is_default:
        return tuple(point for point in points if point < available.seconds)
    place = count.points.place
    if count.by_voice and any(point.denominator != 1 for point in points):
        cues.fault("a voice counts whole seconds only", place, "whole seconds, or `by: tones`")
    if points and points[0] > available.seconds:
        message = f"a count from {duration_text(Duration(points[0]))} is longer than"
        message += f" the {duration_text(available)} {where}"
        # A word begins before the instant that it counts, so its first one needs some time more.
        most = ceil(available.seconds) - 1 if count.by_voice else floor(available.seconds)
        needed = duration_text(Duration(points[0] + (1 if count.by_voice else 0)))
        longer = f"a {room.word} of {needed} or more {room.where} fits it"
        cues.fault(message, place, f"{longer}; or `count: {max(0, most)}`")
    return tuple(point for point in points if point <= available.seconds)


def _count(
    cues: CueCollector,
    run: Run,
    count: CountSetting,
    points: tuple[Fraction, ...],
    boundary: Instant,
    earliest: Instant,
    room: Room,
) -> None:
    """Tones and numbers at the points, and the long tone on the boundary."""
    tones = COUNTDOWNS[count.sound]
    place = count.points.place or count.by.place or run.move.place_of("move")
    for point in points:
        mark = boundary - Duration(point)
        if count.by_tones:
            cues.tone(tones.short, mark, place, under_words=count.by_voice)
        if count.by_voice:
            number, window = Phrase("number", {"n": str(point)}), Window(earliest, boundary)
            cues.count_word(number, mark, window, room, place)
    if count.by_tones:
        cues.tone(tones.long, boundary, place, under_words=count.by_voice)
