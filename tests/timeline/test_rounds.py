"""What numbers of rounds come to: computed as they would be laid out, and never laid out in vain."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan
from cuetrack.timebase import Duration
from cuetrack.timeline import compile as compile_module
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.phases import Phase, laid_out
from cuetrack.timeline.promise import shortest_and_longest
from cuetrack.timeline.rounds import Limits, has_open_rounds, round_choices, with_fewest_rounds

PLAN = """
session: Quay
length: {length}
lead-in: 10s
lead-out: 2s
parts:
  - part: Circuit
    rounds: 3
    rest: 20s..40s
    flex: {{rounds: 2..5}}
    steps:
      - {{move: Row, work: 45s}}
      - {{move: Press, work: 30s..40s, sides: both, change: 6s}}
      - rest: 1:00
  - part: Finish
    flex: {{rounds: 1..3, rest: 5s}}
    rest: 15s
    work: 50s
    steps: [{{move: Squat}}, {{move: Plank, rest: 9s}}]
  - part: Down
    steps: [{{talk: 20s}}]
"""


def measured(phases: Sequence[Phase]) -> Limits:
    return shortest_and_longest(phases, {})


def choices_of(session: Session) -> list[tuple[Session, Limits]]:
    promised = session.length.length if session.length else Duration(Fraction(0))
    return list(round_choices(session, promised, measured(laid_out(with_fewest_rounds(session))), measured))


def test_every_choice_has_the_limits_of_its_phases_and_the_nearest_come_first() -> None:
    session = parse_plan(PLAN.format(length="20:00"))
    choices = choices_of(session)
    assert len(choices) == 4 * 3
    assert [part.rounds for part in choices[0][0].parts] == [3, 1, 1]
    changes = [abs(tried.parts[0].rounds - 3) + tried.parts[1].rounds - 1 for tried, _ in choices]
    assert changes == sorted(changes)
    for tried, limits in choices:
        assert limits == measured(laid_out(tried))


def test_where_nothing_is_open_only_the_session_itself_comes() -> None:
    session = parse_plan("session: Q\nparts: [{part: A, rounds: 2, steps: [{talk: 5s}]}]\n")
    assert not has_open_rounds(session)
    assert [tried for tried, _ in choices_of(session)] == [session]


def test_rounds_that_are_too_long_for_a_day_are_left_out() -> None:
    session = parse_plan("session: Q\nparts: [{part: A, flex: {rounds: 1..3}, steps: [{talk: 23h}]}]\n")
    assert [tried.parts[0].rounds for tried, _ in choices_of(session)] == [1]


MANY = "parts: [" + ", ".join(["{part: A, flex: {rounds: 1..100}, steps: [{talk: 10s}]}"] * 4) + "]\n"


@pytest.mark.parametrize(("length", "rounds"), [("40s", 4), ("70s", 7), ("33:20", 200), ("66:40", 400)])
def test_of_very_many_choices_one_that_keeps_the_promise_is_found(length: str, rounds: int) -> None:
    """A hundred rounds left open in each of four parts are 100,000,000 choices."""
    timeline = compiled(parse_plan(f"session: Q\nlead-in: 0s\nlength: {length}\n{MANY}"))
    assert sum(part.rounds for part in timeline.session.parts) == rounds


@pytest.mark.parametrize(
    ("length", "message"),
    [
        ("30s", "the session can last 40 s, not 30 s"),
        ("1:00:35", "the session can last 60 min 30 s or 60 min 40 s"),
        ("2:00:00", "the session can last 66 min 40 s, not 120 min"),
    ],
)
def test_of_very_many_choices_the_nearest_are_told(
    length: str, message: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    laid: list[int] = []

    def counted(*arguments: object) -> tuple[Phase, ...]:
        phases = laid_out(*arguments)  # type: ignore[arg-type]
        laid.append(len(phases))
        return phases

    monkeypatch.setattr(compile_module, "laid_out", counted)
    with pytest.raises(PlanError, match=message):
        compiled(parse_plan(f"session: Q\nlead-in: 0s\nlength: {length}\n{MANY}"))
    assert laid == [4]  # the fewest rounds, and nothing that cannot keep the promise
