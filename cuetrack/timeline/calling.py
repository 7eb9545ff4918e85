"""What is said about a run: its announcement, the change of side, its stages, the time left, halfway."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from cuetrack.plan.levels import option_of
from cuetrack.sound.tone_table import PLAN_TONES
from cuetrack.timebase import Duration, Instant, duration_text
from cuetrack.timeline.calls import CallSettings, CountSetting
from cuetrack.timeline.collector import CALL_EARLY, CueCollector, room_into
from cuetrack.timeline.cues import Announcement, Call, Phrase, Priority, Room, Window
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.runs import Run

# From the last word to the start tone: 0.500 s in the International Jump Rope Union's timing tracks.
WORD_TO_COUNT = Duration(Fraction(1, 2))
# Speech keeps clear of the tone on the boundary before it. Common practice, no source.
AFTER_BOUNDARY = Duration(Fraction(4, 5))
# And so far at least, so that what is said up to that boundary never has to move.
LEAST_AFTER_BOUNDARY = Duration(Fraction(3, 20))
# Enough for the words that a new rest would bring with it. Common practice, no source.
WORDS_AT_THE_EDGES = Duration(Fraction(1))
# How late "halfway" may come. Common practice, no source.
HALFWAY_LATE = Duration(Fraction(2))
# How late praise may come. Common practice, no source.
PRAISE_LATE = Duration(Fraction(5))
# A built-in warning needs this much time between itself and the count. Common practice, no source.
WARNING_TO_COUNT = Duration(Fraction(3))


def announce(cues: CueCollector, run: Run, settings: CallSettings, counted_from: Instant) -> None:
    """Adds the announcement of `run`, spoken before its count begins."""
    parts, move, first = settings.announce.value, run.move, run.phases[0]
    option = option_of(cues.session, move)
    slots = {
        "first": "yes" if run.before is None else "",
        "move": move.move if "name" in parts else "",
        "side": first.side or "",
        "stage": first.stage.stage if first.stage and "name" in parts else "",
        "option": (option.say if option else None) or "",
        "setup": (move.setup or "") if "setup" in parts else "",
        "equipment": ", ".join(move.equipment or ()) if "equipment" in parts else "",
    }
    if any(slots[key] for key in ("move", "setup", "equipment")):
        key = "last-round" if run.opens_last_round and run.before is not None else "announce"
        window, wanted, at_start = _into_run(run, counted_from)
        cues.cues.append(
            Announcement(
                Phrase(key, slots),
                run.start,
                window,
                wanted,
                "start" if at_start else "end",
                (run.lead or run.phases)[-1].index,
                _room_into(run, settings.start, counted_from),
                move.place_of("move"),
                Priority.ANNOUNCEMENT,
            )
        )


def call_change_of_side(cues: CueCollector, run: Run, settings: CallSettings, counted_from: Instant) -> None:
    """Adds the call into the second side of a move, which is counted into from `counted_from`."""
    if not settings.side.value:
        return
    # A change is short: its call may be heard over the tones of a count, though not over its words.
    window, wanted, at_start = _into_run(run, run.start)
    cues.cues.append(
        Call(
            Phrase("change-sides", {"side": run.phases[0].side or ""}),
            run.start,
            window,
            wanted,
            "start" if at_start else "end",
            (run.lead or run.phases)[-1].index,
            _room_into(run, settings.start, counted_from),
            settings.side.place or run.move.place_of("sides"),
            Priority.CHANGE_OF_SIDE,
        )
    )


def _into_run(run: Run, end_before: Instant) -> tuple[Window, Instant, bool]:
    """The window of a phrase about the coming run, the instant it wants, and whether to start there.

    In a rest it comes at once, so that there is time to get ready; after the coach's own talk or in
    the middle of work it comes as late as it can.
    """
    lead, latest = run.lead, end_before - WORD_TO_COUNT
    window = Window((lead[0].start if lead else run.start) + LEAST_AFTER_BOUNDARY, latest)
    quiet = [phase for phase in _after_talk(lead) if phase.kind != "work"]
    if quiet:
        return window, quiet[0].start + AFTER_BOUNDARY, True
    return window, latest, False


def _room_into(run: Run, count: CountSetting, counted_from: Instant) -> Room:
    """What gives a phrase about the coming run more time."""
    beside = LEAST_AFTER_BOUNDARY + count.longest + WORD_TO_COUNT + WORDS_AT_THE_EDGES
    # The call of a change may lie over tones, which therefore take no time from it.
    in_its_way = count.by_voice or not run.is_second_side
    cut_short = count.longest - (run.start - counted_from)
    return room_into(run, beside, cut_short if in_its_way else Duration(Fraction(0)))


def _after_talk(phases: Sequence[Phase]) -> Sequence[Phase]:
    """The phases behind the last talk."""
    last_talk = max((i for i, phase in enumerate(phases) if phase.kind == "talk"), default=-1)
    return phases[last_talk + 1 :]


def call_stages(cues: CueCollector, run: Run) -> None:
    """Adds, for each stage but the first, its name ahead of it and the tone on its start."""
    for before, phase in pairwise(run.phases):
        stage, settings = phase.stage, cues.settings(phase)
        if stage is None:
            continue
        place, room = stage.place_of("stage"), Room("stage", f"before {stage.stage!r}", before.length)
        if settings.stage_tone.value is not None:
            cues.tone(PLAN_TONES[settings.stage_tone.value], phase.start, settings.stage_tone.place or place)
        if settings.stage_ahead.value is None:
            continue
        latest = phase.start - settings.stage_ahead.value
        cues.cues.append(
            Call(
                Phrase("stage", {"stage": stage.stage}),
                phase.start,
                Window(before.start, latest),
                latest,
                "end",
                before.index,
                room,
                place,
                Priority.STAGE,
            )
        )


def call_time_left(cues: CueCollector, run: Run, settings: CallSettings, counted_from: Instant) -> None:
    """Adds the warning before the end of `run`, if it is long enough for one."""
    warn = settings.warn
    if warn.value is None or (warn.is_default and settings.finish.by.value == "none"):
        return
    mark = run.end - warn.value
    if warn.is_default and (run.length < warn.value * 2 or counted_from - mark < WARNING_TO_COUNT):
        return
    place = warn.place or run.move.place_of("move")
    if not warn.value:
        cues.fault("a warning on the very end warns of nothing", place, "write `warn: 10s` or `warn: off`")
        return
    if warn.value >= run.length:
        message = f"a warning {duration_text(warn.value)} before the end comes before the start"
        lasts = f"{run.move.move!r} is worked for {duration_text(run.length)}"
        cues.fault(message, place, f"{lasts}; warn later, or write `warn: off`")
        return
    phrase = Phrase("time-left", {"seconds": str(warn.value.seconds)})
    cues.call(phrase, mark, run.phases, CALL_EARLY, place, gives_way=warn.is_default)


def call_praise(cues: CueCollector, run: Run, settings: CallSettings) -> None:
    """Adds a word of praise in the pause after `run`, the last of its part, if it is wanted."""
    following = cues.following(run)
    if settings.praise.value and following is not None and following.kind != "work":
        mark = run.end + AFTER_BOUNDARY
        cues.call(Phrase("well-done"), mark, (following,), PRAISE_LATE, settings.praise.place)


def call_halfway(cues: CueCollector, run: Run, settings: CallSettings) -> None:
    """Adds "halfway" at the middle of `run`, if it is wanted."""
    if settings.halfway.value:
        mark, place = run.start + run.length * Fraction(1, 2), settings.halfway.place
        cues.call(Phrase("halfway"), mark, run.phases, HALFWAY_LATE, place)
