"""Findings about times: holds, breathing in holds, rest against the length of a set, changeovers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from cuetrack.plan.model import MoveStep, Stage
from cuetrack.review.finding import COMMON_PRACTICE, Finding, length_words, ratio_text
from cuetrack.review.turns import Turn, is_full_effort, loads
from cuetrack.review.words import plain, speaks_of_breath, tag_word
from cuetrack.timebase import Duration


def _seconds(number: int) -> Duration:
    return Duration(Fraction(number))


_ACSM_HOLD = "ACSM Guidelines, 11th edition, Table 5.6: static stretches 10 to 30 s, older adults 30 to 60 s"
_ACSM_TOTAL = "ACSM 2011: 2 to 4 repetitions, 60 s in all for each stretch (quoted second-hand)"
SHORTEST_HOLD, LONGEST_HOLD, LONGEST_HOLD_OLDER = _seconds(10), _seconds(30), _seconds(60)
STRETCH_TOTAL = _seconds(60)
_AHA = (
    "AHA statement 2007: breathe out on effort, no breath-holding (quoted second-hand); "
    "wall squats raised systolic pressure to 171 ± 19 mmHg in hypertensive men (PMC5882444)"
)

_NSCA = "NSCA, {} (quoted second-hand)"
# Work from … to … seconds at full effort, and how many times as long the rest is.
WORK_TO_REST = ((5, 10, 12, 20), (15, 30, 3, 5), (60, 180, 3, 4), (180, 86_400, 1, 3))
# Rest between sets by aim: shortest and longest, in seconds.
REST_BY_AIM = {"strength": (120, 300), "power": (120, 300), "hypertrophy": (30, 90), "endurance": (0, 30)}

# Common practice, no source: to get down to the floor or up from it, to change between two positions on
# one level, and to take up equipment that the move before did not need.
FLOOR_CHANGE, POSITION_CHANGE, NEW_EQUIPMENT = _seconds(15), _seconds(5), _seconds(5)
_ON_THE_FLOOR = {"kneeling", "lying"}


def holds(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Static stretches that are shorter or longer than published, each side by itself and in all."""
    stretches = [t for t in turns if "stretch" in t.about.words and "dynamic" not in t.about.words]
    for turn in stretches:
        for run in turn.runs:
            yield from _hold(turn, run.length)
    yield from _short_in_all(stretches)


def _short_in_all(stretches: Sequence[Turn]) -> Iterator[Finding]:
    """One finding for all stretches that are held less than published, on one side, over the session."""
    totals: dict[tuple[str, str | None], Duration] = {}
    for turn in stretches:
        for run in turn.runs:
            key = (turn.move.move, run.phases[0].side)
            totals[key] = totals.get(key, _seconds(0)) + run.length
    short = {key: length for key, length in totals.items() if length < STRETCH_TOTAL}
    if not short:
        return
    said = dict.fromkeys(
        f"'{name}' {length_words(length)}{' a side' if side else ''}"
        for (name, side), length in short.items()
    )
    names = {name for name, _ in short}
    found = [turn for turn in stretches if turn.move.move in names]
    guessed = any(turn.about.guessed for turn in found)
    message, suggestion = f"{', '.join(said)} in all", "2 to 4 times, 60 s in all for each"
    yield Finding("holds", message, suggestion, _ACSM_TOTAL, found[0].move.place_of("move"), guessed)


def _hold(turn: Turn, length: Duration) -> Iterator[Finding]:
    if length < SHORTEST_HOLD:
        suggestion = "hold it for 10 to 30 s"
    elif length > LONGEST_HOLD_OLDER:
        suggestion = "10 to 30 s do; for older adults 30 to 60 s"
    elif length > LONGEST_HOLD:
        suggestion = "10 to 30 s do, unless your class is of older adults (30 to 60 s)"
    else:
        return
    message = f"'{turn.move.move}' is held for {length_words(length)}"
    place = turn.runs[0].phases[0].place
    yield Finding("holds", message, suggestion, _ACSM_HOLD, place, turn.about.guessed)


def holds_without_a_word_on_breath(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Positions held under tension in which nothing is said about breathing."""
    for turn in turns:
        if "hold" not in turn.about.words or _breath_is_called(turn):
            continue
        message = f"nothing is said about breathing in '{turn.move.move}'"
        suggestion = "add a line: `cues: [{at: 5s, say: Keep breathing.}]`"
        place = turn.move.place_of("move")
        yield Finding("breathing", message, suggestion, _AHA, place, turn.about.guessed)


def _breath_is_called(turn: Turn) -> bool:
    stages = [phase.stage for run in turn.runs for phase in run.phases if isinstance(phase.stage, Stage)]
    cues = (*turn.move.cues, *(cue for stage in stages for cue in stage.cues))
    texts = (turn.move.move, turn.move.setup, *(stage.stage for stage in stages), *(cue.say for cue in cues))
    return any(speaks_of_breath(text) for text in texts if text)


def rests(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Rests against the length of a set at full effort, and against the aim of a move, where these are said.

    What nobody called hard is not judged: the tables are made for hard work. Nor is a rest before easy work
    (a stretch, a cool-down), which is rest itself.
    """
    for turn, following in pairwise(turns):
        if turn.rest is None or not loads(following):
            continue
        aims = turn.about.of("aim")
        for aim in aims:
            yield from _rest_for_aim(turn, turn.rest, aim)
        if not aims and is_full_effort(turn.about, turn.part):
            yield from _rest_for_length(turn, turn.rest)


def _rest_for_aim(turn: Turn, rest: Duration, aim: str) -> Iterator[Finding]:
    low, high = REST_BY_AIM[aim]
    if low <= rest.seconds <= high:
        return
    message = f"{length_words(rest)} of rest after '{turn.move.move}'"
    span = f"{length_words(_seconds(low))} to {length_words(_seconds(high))}" if low else f"{high} s or less"
    source = _NSCA.format("rest between sets by aim")
    yield Finding("rest", message, f"for {aim} {span}", source, turn.move.place_of("move"))


def _rest_for_length(turn: Turn, rest: Duration) -> Iterator[Finding]:
    work = turn.set_length
    for shortest, longest, low, high in WORK_TO_REST:
        if not shortest <= work.seconds <= longest:
            continue
        if rest.seconds < work.seconds * low or rest.seconds > work.seconds * high:
            ratio = ratio_text(work, rest)
            message = (
                f"'{turn.move.move}': {length_words(work)} of work, {length_words(rest)} of rest ({ratio})"
            )
            span = f"{length_words(work * Fraction(low))} to {length_words(work * Fraction(high))}"
            suggestion = f"at full effort 1:{low} to 1:{high}, here {span}; below it less will do"
            source = _NSCA.format("work to rest by the length of the work")
            guessed = "full effort" not in map(tag_word, turn.move.tags or ())
            yield Finding("rest", message, suggestion, source, turn.move.place_of("move"), guessed)
        return


def changeovers(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Where the time between two moves is short for getting into another position, or taking up equipment."""
    for before, after in pairwise(turns):
        if before.rest is None or before.move is after.move:
            continue
        needed, why = _changeover(before, after)
        if before.rest < needed:
            names = f"from '{before.move.move}' to '{after.move.move}'"
            message = f"{length_words(before.rest)} {names}: {why}"
            suggestion = f"{length_words(needed)} or more, longer for people who move with care"
            guessed = before.about.guessed or after.about.guessed
            place = after.move.place_of("move")
            yield Finding("changeover", message, suggestion, COMMON_PRACTICE, place, guessed)


def _changeover(before: Turn, after: Turn) -> tuple[Duration, str]:
    """What the change takes, and what there is to do in it."""
    needed, why = _seconds(0), list[str]()
    start, end = before.about.position, after.about.position
    if start and end and start != end:
        on_floor = [position in _ON_THE_FLOOR for position in (start, end)]
        needed += FLOOR_CHANGE if on_floor[0] != on_floor[1] else POSITION_CHANGE
        why.append(f"{start} to {end}")
    new = _new_equipment(before.move, after.move)
    if new:
        needed += NEW_EQUIPMENT
        why.append(f"take up the {', '.join(new)}")
    return needed, ", ".join(why)


def _new_equipment(before: MoveStep, after: MoveStep) -> tuple[str, ...]:
    had = {plain(name) for name in before.equipment or ()}
    return tuple(name for name in after.equipment or () if plain(name) not in had)
