"""Turns: what is done, on which side, how long, and what follows; what a move is, by tags or name."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from cuetrack.plan.model import MoveStep
from cuetrack.review.turns import about_move, is_full_effort, turns_of
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.totals import totals_of
from tests.helpers.plans import Plan, given_examples, plans, session_of
from tests.review.sessions import timeline_of


def move(**keys: object) -> MoveStep:
    return MoveStep.model_validate({"work": "20s", **keys})


@given_examples(60)(plans())
def test_turns_hold_all_work_and_what_follows_each(plan: Plan) -> None:
    timeline = compiled(session_of(plan))
    turns = turns_of(timeline)
    work = totals_of("", timeline.phases).work.seconds
    assert sum(turn.work.seconds for turn in turns) == work
    assert [turn.rest is None for turn in turns] == [False] * (len(turns) - 1) + [True] * bool(turns)
    for before, after in pairwise(turns):
        assert before.rest is not None
        assert before.runs[-1].end + before.rest == after.runs[0].start


def test_sides_of_a_turn_and_its_set() -> None:
    step = "{move: Reach, sides: [right, left], change: 4s, stages: [{slow: 10s}, {fast: 5s}], rest: 9s}"
    turn = turns_of(timeline_of(step))[1]
    assert [turn.work.seconds, turn.set_length.seconds] == [30, 15]
    assert [turn.left.seconds, turn.right.seconds] == [15, 15]
    assert turn.rest is not None
    assert turn.rest.seconds == Fraction(9)


def test_tags_win_over_the_name() -> None:
    about = about_move(move(move="Band row", tags=["Legs", "lunges", "grip", "light"]))
    assert about.words == {"legs", "lunge", "light"}
    assert about.own == ("grip",)
    assert not about.guessed
    assert about.of("region") == ("legs",)


def test_without_a_region_or_pattern_in_the_tags_the_name_is_read() -> None:
    about = about_move(move(move="Band row", tags=["grip", "endurance"]))
    assert about.words == {"back", "pull", "endurance"}
    assert about.guessed
    assert about_move(move(move="Band row")).words == {"back", "pull"}


@pytest.mark.parametrize(
    ("keys", "position"),
    [
        ({"move": "Plank"}, "lying"),
        ({"move": "Kneeling push-up"}, "kneeling"),
        ({"move": "Push-up", "tags": ["chest", "standing"]}, "standing"),
        ({"move": "Band row", "setup": "Seated, band around the feet."}, "seated"),
        ({"move": "Band row", "setup": "Sit down or stand."}, None),
        ({"move": "Reach"}, None),
        ({"move": "Reach", "tags": ["seated", "standing"]}, None),
    ],
)
def test_positions(keys: dict[str, object], position: str | None) -> None:
    assert about_move(move(**keys)).position == position


def test_full_effort_of_the_part_is_that_of_its_moves_unless_they_say_otherwise() -> None:
    steps = ("{move: Row, work: 20s, rest: 9s}", "{move: Row, work: 20s, tags: [back, moderate]}")
    _, hard, moderate, _ = turns_of(timeline_of(*steps, name="Intervals"))
    assert is_full_effort(hard.about, hard.part)
    assert not is_full_effort(moderate.about, moderate.part)
