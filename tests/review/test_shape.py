"""Findings about the shape of a session; a session that gives no cause for one has none."""

from __future__ import annotations

import pytest

from cuetrack.plan.text import parse_plan
from cuetrack.review.finding import COMMON_PRACTICE, Finding
from cuetrack.review.review import reviewed
from cuetrack.timeline.compile import compiled
from tests.review.sessions import found_in, part_text, review_of


def warm_ups(plan: str) -> list[Finding]:
    found = reviewed(compiled(parse_plan(plan))).findings
    return [finding for finding in found if finding.name in {"warm-up", "cool-down"}]


def with_edges(warm_up: str, cool_down: str) -> str:
    edges = (("Warm-up", warm_up), ("Cool-down", cool_down))
    parts = "".join(part_text(f"{{move: Sway, work: {time}}}", name=name) for name, time in edges)
    return f"session: Quay\nlead-in: 0s\nparts:\n{parts}"


def test_nothing_to_say() -> None:
    assert review_of("{move: Reach, work: 60s, rest: 30s}", "{move: Sway, work: 60s}").findings == ()


@pytest.mark.parametrize(
    ("time", "said"),
    [("4:59", "short: 4 min 59 s"), ("5:00", ""), ("10:00", ""), ("10:01", "long: 10 min 1 s")],
)
def test_warm_up_and_cool_down_of_5_to_10_minutes(time: str, said: str) -> None:
    """ACSM: 5 to 10 minutes each, as quoted second-hand."""
    found = warm_ups(with_edges(time, time))
    wanted = [f"the {name} is {said}" for name in ("warm-up", "cool-down")] if said else []
    assert [finding.message for finding in found] == wanted
    assert all("ACSM" in finding.source for finding in found)


def test_a_missing_warm_up_is_told_at_the_first_part_and_a_cool_down_at_the_last() -> None:
    body = part_text("{move: Sway, work: 60s}", name="A") + part_text("{move: Sway, work: 60s}", name="B")
    found = warm_ups(f"session: Quay\nparts:\n{body}")
    assert [(one.name, one.message) for one in found] == [
        ("warm-up", "no part is called a warm-up"),
        ("cool-down", "no part is called a cool-down"),
    ]
    assert [one.place.line for one in found if one.place] == [3, 6]


def test_parts_of_a_warm_up_count_together() -> None:
    halves = "".join(part_text("{move: Sway, work: 3 min}", name=f"Warm-up {n}, cool-down {n}") for n in "12")
    assert warm_ups(f"session: Quay\nparts:\n{halves}") == []


def test_unequal_sides_over_the_whole_session() -> None:
    even = ("{move: Reach, sides: left, work: 30s}", "{move: REACH, sides: right, work: 30s}")
    assert found_in("sides", *even) == []
    (found,) = found_in("sides", *even, "{move: Reach, sides: left, work: 20s}")
    assert found.message == "'Reach': left 50 s, right 30 s"
    assert found.source == COMMON_PRACTICE
    (alone,) = found_in("sides", "{move: Reach, sides: right, work: 30s}")
    assert alone.message == "'Reach': left 0 s, right 30 s"


def test_one_region_three_times_in_a_row() -> None:
    legs = ("{move: Squat, work: 30s}", "{move: Lunge, work: 30s}", "{move: Step-up, work: 30s}")
    assert found_in("order", *legs[:2]) == []
    (found,) = found_in("order", *legs)
    assert found.message == "legs 3 times in a row in 'Main': 'Squat', 'Lunge', 'Step-up'"
    assert found.guessed
    assert found.place is not None
    assert found.place.line_text.strip() == f"- {legs[0]}"
    assert found_in("order", *legs[:2], "{move: Band row, work: 30s}", legs[2]) == []
    assert found_in("order", *legs, name="Second warm-up") == []
    assert (
        found_in("order", *(leg.replace("}", ", tags: [grip, arms]}") for leg in legs[:1]), *legs[1:]) == []
    )


def test_rounds_of_one_move_are_meant_and_rounds_of_two_are_told() -> None:
    rounds = "    rounds: 4\n    rest: 30s\n"
    assert found_in("order", "{move: Squat, work: 30s}", keys=rounds) == []
    (found,) = found_in("order", "{move: Squat, work: 30s}", "{move: Lunge, work: 30s}", keys=rounds)
    assert found.message.startswith("legs 8 times in a row")


def test_stretches_of_one_region_are_no_work_for_it() -> None:
    steps = [f"{{move: {name} stretch, work: 30s}}" for name in ("Calf", "Thigh", "Hamstring")]
    assert found_in("order", *steps) == []


def test_a_move_written_twice_in_a_part() -> None:
    steps = ("{move: Squat, work: 30s}", "{move: Band row, work: 30s}", "{move: squat, work: 30s}")
    assert found_in("repeats", *steps[:2], keys="    rounds: 3\n") == []
    (found,) = found_in("repeats", *steps, keys="    rounds: 3\n")
    assert found.message == "'Squat' is written 2 times in 'Main', so it is done 6 times"
    sides = ("{move: Reach, work: 30s, sides: left}", "{move: Reach, work: 30s, sides: right}")
    assert found_in("repeats", *sides) == []


@pytest.mark.parametrize(
    ("push", "pull", "said"),
    [
        ("60s", "30s", ""),
        ("61s", "30s", "push 1 min 1 s, pull 30 s"),
        ("30s", "2 min", "pull 2 min, push 30 s"),
        ("59s", None, ""),
        ("60s", None, "push 1 min, pull 0 s"),
    ],
)
def test_push_against_pull(push: str, pull: str | None, said: str) -> None:
    steps = [f"{{move: Chest press, work: {push}}}", *([f"{{move: Row, work: {pull}}}"] if pull else [])]
    found = found_in("balance", *steps)
    assert [finding.message for finding in found] == ([said] if said else [])
