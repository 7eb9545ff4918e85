"""Phases → how long each part and the session last, and how much of it is work."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from cuetrack.timebase import Duration
from cuetrack.timeline.phases import Phase

_ZERO = Duration(Fraction(0))


@dataclass(frozen=True, slots=True)
class Totals:
    """Times of one part, or of the session; changes of side count as rest.

    `length` is more than the sum of the others where a lead-in or a lead-out is in it.
    """

    name: str
    length: Duration
    work: Duration
    rest: Duration
    talk: Duration


def totals_of(name: str, phases: Iterable[Phase]) -> Totals:
    """The totals of `phases` under `name`."""
    kept = tuple(phases)

    def lasting(*kinds: str) -> Duration:
        return sum((phase.length for phase in kept if phase.part and phase.kind in kinds), _ZERO)

    length = sum((phase.length for phase in kept), _ZERO)
    return Totals(name, length, lasting("work"), lasting("rest", "change"), lasting("talk"))


def totals_by_part(phases: Iterable[Phase]) -> tuple[Totals, ...]:
    """One row a part in the plan's order; the lead-in and lead-out belong to none."""
    by_part: dict[int, list[Phase]] = {}
    for phase in phases:
        if phase.part is not None:
            by_part.setdefault(id(phase.part), []).append(phase)
    return tuple(totals_of(group[0].part.part if group[0].part else "", group) for group in by_part.values())
