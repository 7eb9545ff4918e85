"""A compiled timeline → its review: what it comes to, by part, side, region, pattern and move, and findings.

Everything here is a pure function of the timeline and a body weight; no voice and no sound is needed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from fractions import Fraction

from cuetrack.errors import Diagnostic
from cuetrack.review.energy import USUAL_WEIGHT_KG, Energy, energy_of
from cuetrack.review.finding import FINDING_NAMES, Finding, idle_acceptances, in_order
from cuetrack.review.shape import (
    opposite_patterns,
    repeated_moves,
    same_region_in_a_row,
    unequal_sides,
    warm_up_and_cool_down,
)
from cuetrack.review.times import changeovers, holds, holds_without_a_word_on_breath, rests
from cuetrack.review.turns import Turn, turns_of
from cuetrack.review.words import KINDS
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.totals import Totals, totals_by_part, totals_of

_ZERO = Duration(Fraction(0))
IN_SHORT = 3


@dataclass(frozen=True, slots=True)
class WorkTime:
    """The work that belongs to one word or move: how many turns, how long, and how much on each side."""

    name: str
    turns: int
    work: Duration
    left: Duration
    right: Duration


@dataclass(frozen=True, slots=True)
class Review:
    """What a session comes to, and what a colleague would ask about it.

    A move counts in each of its regions and patterns, so that these add up to more than the work.
    `own` are tags that are in no list of ours, `unknown` the moves for which no region is known,
    `guessed` those that are known by their names alone.
    """

    session: str
    parts: tuple[Totals, ...]
    whole: Totals
    regions: tuple[WorkTime, ...]
    patterns: tuple[WorkTime, ...]
    own: tuple[WorkTime, ...]
    moves: tuple[WorkTime, ...]
    unknown: tuple[str, ...]
    guessed: tuple[str, ...]
    energy: Energy
    findings: tuple[Finding, ...]
    warnings: tuple[Diagnostic, ...]

    @property
    def open(self) -> tuple[Finding, ...]:
        """The findings that the plan does not accept, by weight."""
        return tuple(found for found in self.findings if found.accepted is None)


def reviewed(timeline: Timeline, weight_kg: float = USUAL_WEIGHT_KG) -> Review:
    """The review of a session, its energy for one person of `weight_kg`."""
    turns = turns_of(timeline)
    session = timeline.session
    accepted = session.accepted or {}
    findings = tuple(
        replace(found, accepted=accepted.get(found.name)) for found in in_order(_findings(timeline, turns))
    )
    names = {turn.move.move: turn.about for turn in turns}
    return Review(
        session=session.session,
        parts=totals_by_part(timeline.phases),
        whole=totals_of(session.session, timeline.phases),
        regions=_times_of_kind("region", turns),
        patterns=_times_of_kind("pattern", turns),
        own=_work_times([(own, turn) for turn in turns for own in turn.about.own]),
        moves=_work_times([(turn.move.move, turn) for turn in turns]),
        unknown=tuple(name for name, about in names.items() if not about.of("region")),
        guessed=tuple(name for name, about in names.items() if about.guessed and about.of("region")),
        energy=energy_of(timeline, weight_kg),
        findings=findings,
        warnings=(
            *idle_acceptances(accepted, FINDING_NAMES, findings, session.place_of("accepted")),
            *_unlikely_tags(turns),
        ),
    )


def short_form(review: Review) -> tuple[str, ...]:
    """The weightiest open findings, a line each, and where the others are; empty where there is none."""
    first: dict[str, Finding] = {}
    for found in review.open:
        first.setdefault(found.name, found)
    told = list(first.values())[:IN_SHORT]
    more = len(review.open) - len(told)
    lines = [f"{found.name}: {found.message}; {found.suggestion}" for found in told]
    if lines:
        rest = f"{more} more, and all sources" if more else "the sources"
        lines.append(f"({rest}: cuetrack review; none of this is medical advice)")
    return tuple(lines)


def _findings(timeline: Timeline, turns: Sequence[Turn]) -> Iterator[Finding]:
    yield from warm_up_and_cool_down(timeline)
    yield from unequal_sides(turns)
    yield from same_region_in_a_row(turns)
    yield from repeated_moves(timeline)
    yield from opposite_patterns(turns)
    yield from holds(turns)
    yield from holds_without_a_word_on_breath(turns)
    yield from rests(turns)
    yield from changeovers(turns)


def _times_of_kind(kind: str, turns: Sequence[Turn]) -> tuple[WorkTime, ...]:
    """The work by each word of one kind, in the order of our list."""
    named = [(word, turn) for word in KINDS[kind] for turn in turns if word in turn.about.words]
    return _work_times(named)


def _work_times(named: Iterable[tuple[str, Turn]]) -> tuple[WorkTime, ...]:
    groups: dict[str, list[Turn]] = {}
    for name, turn in named:
        groups.setdefault(name, []).append(turn)
    return tuple(
        WorkTime(
            name,
            len(turns),
            sum((turn.work for turn in turns), _ZERO),
            sum((turn.left for turn in turns), _ZERO),
            sum((turn.right for turn in turns), _ZERO),
        )
        for name, turns in groups.items()
    )


def _unlikely_tags(turns: Sequence[Turn]) -> Iterator[Diagnostic]:
    """Tags of the plan's own that look like a word of ours misspelt."""
    known = [word for table in KINDS.values() for word in table]
    seen: set[str] = set()
    for turn in turns:
        for tag in turn.about.own:
            if tag in seen:
                continue
            seen.add(tag)
            # Closer than for keys: `band` is a word of its own and not `bend` misspelt.
            for meant in get_close_matches(tag[:40].casefold(), known, n=1, cutoff=0.8):
                message = f"the tag '{tag}' counts as a word of your own"
                yield Diagnostic("warning", message, turn.move.place_of("tags"), f"did you mean '{meant}'?")
