"""How long parts and the session last, and how much of them is work, rest and talk."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby

from cuetrack.timeline.compile import compiled
from cuetrack.timeline.totals import Totals, totals_by_part, totals_of
from tests.helpers import by_hand
from tests.helpers.plans import Plan, given_examples, plans, session_of

KINDS = {"work": "work", "rest": "rest", "change": "rest", "talk": "talk"}


def in_seconds(totals: Totals) -> tuple[str, Fraction, Fraction, Fraction, Fraction]:
    lengths = (totals.length, totals.work, totals.rest, totals.talk)
    return totals.name, *(length.seconds for length in lengths)  # type: ignore[return-value]


def by_hand_totals(name: str, stretches: list[by_hand.Stretch], length: Fraction) -> tuple[object, ...]:
    sums = dict.fromkeys(("work", "rest", "talk"), Fraction(0))
    for stretch in stretches:
        if stretch.part is not None:
            sums[KINDS[stretch.kind]] += stretch.end - stretch.start
    return name, length, sums["work"], sums["rest"], sums["talk"]


@given_examples(60)(plans())
def test_totals_of_parts_and_of_the_session(plan: Plan) -> None:
    """Lead-in and lead-out count to the session's length only: the columns of the parts add up to its own."""
    found, timeline = by_hand.stretches(plan), compiled(session_of(plan))
    by_part = [(part, list(of_part)) for part, of_part in groupby(found, key=lambda s: id(s.part))]
    expected = [
        by_hand_totals(of_part[0].part["part"], of_part, of_part[-1].end - of_part[0].start)
        for _, of_part in by_part
        if of_part[0].part
    ]
    parts = [in_seconds(totals) for totals in totals_by_part(timeline.phases)]
    assert parts == expected
    whole = in_seconds(totals_of("Quay", timeline.phases))
    assert whole == by_hand_totals("Quay", found, found[-1].end)
    assert whole[2:] == tuple(sum(column) for column in zip(*(part[2:] for part in parts), strict=True))


def test_lead_out_is_no_rest_of_the_coach() -> None:
    plan = {"session": "Quay", "parts": [{"part": "A", "steps": [{"move": "Row", "work": "30 s"}]}]}
    whole = totals_of("Quay", compiled(session_of(plan)).phases)
    assert in_seconds(whole) == ("Quay", 37, 30, 0, 0)
