"""Findings about the shape of a session: warm-up and cool-down, sides, order, repeats, balance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from cuetrack.plan.model import MoveStep, Part
from cuetrack.review.finding import COMMON_PRACTICE, Finding, length_words
from cuetrack.review.turns import Turn, is_cool_down, is_warm_up, loads
from cuetrack.review.words import REGIONS, plain
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.totals import totals_of

_ZERO = Duration(Fraction(0))
# ACSM, as the trade's texts quote it (not read in the original).
SHORTEST_WARM_UP, LONGEST_WARM_UP = Duration(Fraction(5 * 60)), Duration(Fraction(10 * 60))
_ACSM_WARM_UP = "ACSM: 5 to 10 minutes each of warm-up and cool-down (quoted second-hand)"
# Common practice, no source.
IN_A_ROW = 3
OPPOSITES = (("push", "pull"),)
MOST_OF_OPPOSITES = 2
LEAST_TO_COMPARE = Duration(Fraction(60))


def warm_up_and_cool_down(timeline: Timeline) -> Iterator[Finding]:
    """Where one of the two is missing, or shorter or longer than usual."""
    session = timeline.session
    for name, belongs, edge in (("warm-up", is_warm_up, 0), ("cool-down", is_cool_down, -1)):
        phases = [phase for phase in timeline.phases if phase.part and belongs(phase.part)]
        if not phases:
            place = session.parts[edge].place_of("part")
            message = f"no part is called a {name}"
            suggestion = f"give 5 to 10 minutes to one, or accept this if another part is the {name}"
            yield Finding(name, message, suggestion, _ACSM_WARM_UP, place)
            continue
        length = totals_of(name, phases).length
        if not SHORTEST_WARM_UP <= length <= LONGEST_WARM_UP:
            what = "short" if length < SHORTEST_WARM_UP else "long"
            message = f"the {name} is {what}: {length_words(length)}"
            suggestion = "5 to 10 minutes are usual"
            place = phases[0].part.place_of("part") if phases[0].part else None
            yield Finding(name, message, suggestion, _ACSM_WARM_UP, place)


def unequal_sides(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Moves that get more work on one side, over the whole session."""
    for same in _by_name(turns).values():
        left, right = (
            sum(lengths, _ZERO) for lengths in zip(*((t.left, t.right) for t in same), strict=True)
        )
        if left != right:
            message = f"'{same[0].move.move}': left {length_words(left)}, right {length_words(right)}"
            suggestion = "give both sides the same time: `sides: both`"
            yield Finding("sides", message, suggestion, COMMON_PRACTICE, same[0].move.place_of("sides"))


def _by_name(turns: Sequence[Turn]) -> dict[str, list[Turn]]:
    named: dict[str, list[Turn]] = {}
    for turn in turns:
        named.setdefault(plain(turn.move.move) or turn.move.move, []).append(turn)
    return named


def same_region_in_a_row(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Regions that different moves in a row work in a part, outside warm-up, cool-down and stretches."""
    for region in REGIONS:
        counted = [(id(turn.part), region in turn.about.words and loads(turn), turn) for turn in turns]
        for (_, works), group in groupby(counted, lambda one: one[:2]):
            if works:
                yield from _row_finding(region, [turn for _, _, turn in group])


def _row_finding(region: str, row: Sequence[Turn]) -> Iterator[Finding]:
    """One move in many rounds is meant; several moves for one region may not be."""
    names = list(dict.fromkeys(turn.move.move for turn in row))
    if len(row) < IN_A_ROW or len(names) == 1:
        return
    message = f"{region} {len(row)} times in a row in '{row[0].part.part}': {_listed(names)}"
    suggestion = "another region in between lets this one recover"
    guessed = any(turn.about.guessed for turn in row)
    yield Finding("order", message, suggestion, COMMON_PRACTICE, row[0].move.place_of("move"), guessed)


def _listed(names: Sequence[str], most: int = 4) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(f"'{name}'" for name in names[:most]) + more


def repeated_moves(timeline: Timeline) -> Iterator[Finding]:
    """Moves that are written more than once in the steps of a part, where an extra set slips in."""
    for part in timeline.session.parts:
        written: dict[tuple[str, object], list[MoveStep]] = {}
        for step in part.steps:
            if isinstance(step, MoveStep):
                written.setdefault((plain(step.move) or step.move, step.sides), []).append(step)
        for same in written.values():
            if len(same) > 1:
                yield _repeat(part, same)


def _repeat(part: Part, same: Sequence[MoveStep]) -> Finding:
    times = len(same) * part.rounds
    message = f"'{same[0].move}' is written {len(same)} times in '{part.part}', so it is done {times} times"
    suggestion = "accept this if it is meant; if not, remove one"
    return Finding("repeats", message, suggestion, COMMON_PRACTICE, same[-1].place_of("move"))


def opposite_patterns(turns: Sequence[Turn]) -> Iterator[Finding]:
    """Patterns that get more than twice the work of their opposites."""
    for pair in OPPOSITES:
        works = {p: sum((t.work for t in turns if p in t.about.words), _ZERO) for p in pair}
        less, more = sorted(pair, key=lambda pattern: works[pattern].seconds)
        if works[more] < LEAST_TO_COMPARE or works[more] <= works[less] * MOST_OF_OPPOSITES:
            continue
        found = [turn for turn in turns if more in turn.about.words]
        message = f"{more} {length_words(works[more])}, {less} {length_words(works[less])}"
        suggestion = f"some more {less}, here or in the next session, evens it out"
        guessed = any(turn.about.guessed for turn in turns)
        place = found[0].move.place_of("move")
        yield Finding("balance", message, suggestion, COMMON_PRACTICE, place, guessed)
