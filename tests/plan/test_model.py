"""The plan's rules that concern several keys, and its short forms."""

from __future__ import annotations

from fractions import Fraction

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.model import MoveStep, Part, RestStep, Session, Stage, TalkStep
from cuetrack.plan.text import parse_plan
from cuetrack.plan.times import FixedTime
from cuetrack.timebase import Duration


def plan_with(steps: str, part: str = "") -> str:
    return f"session: a\nparts:\n  - part: b\n{part}    steps:\n{steps}"


def first_step(steps: str, part: str = "") -> MoveStep | RestStep | TalkStep:
    return parse_plan(plan_with(steps, part)).parts[0].steps[0]


def said(text: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        parse_plan(text)
    return [f"{str(d.place).removeprefix('plan:')} {d.message}" for d in caught.value.diagnostics]


def test_short_and_long_stages_are_equal_and_know_their_places() -> None:
    short = first_step("      - {move: c, stages: [{slow lowering: 25s, notes: x}]}\n")
    long = first_step("      - {move: c, stages: [{stage: slow lowering, work: 25s, notes: x}]}\n")
    assert isinstance(short, MoveStep)
    assert short == long
    assert short.stages is not None
    (stage,) = short.stages
    assert stage == Stage(stage="slow lowering", work="25s", notes="x")  # type: ignore[arg-type]
    assert stage.work == FixedTime(Duration(Fraction(25)))
    assert str(stage.place_of("stage")) == "plan:5:29"
    assert str(stage.place_of("work")) == "plan:5:44"


def test_kind_of_a_step_and_a_rest_inside_a_move() -> None:
    steps = "      - {move: c, work: 5s, rest: 8s}\n      - {rest: 5s}\n      - {talk: 5s}\n"
    kinds = [type(step) for step in parse_plan(plan_with(steps)).parts[0].steps]
    assert kinds == [MoveStep, RestStep, TalkStep]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ("{move: c, talk: 5s, work: 5s}", ["5:19 one step cannot be a move and a talk too"]),
        ("{talk: 5s, rest: 5s}", ["5:20 one step cannot be a talk and a rest too"]),
        ("{talk: 5s, rest: 5s, move: c, work: 5s}", ["5:10 one step cannot be a move and a talk too"]),
    ],
)
def test_step_of_two_kinds(step: str, expected: list[str]) -> None:
    assert said(plan_with(f"      - {step}\n")) == expected


@pytest.mark.parametrize("part", ["    work: 30s\n", "    stages: [{slow: 5s}]\n"])
def test_part_may_give_the_working_time_of_its_moves(part: str) -> None:
    assert isinstance(first_step("      - {move: c}\n", part), MoveStep)
    assert isinstance(first_step("      - {move: c, work: 5s}\n", part), MoveStep)


def test_each_move_without_a_working_time_is_named() -> None:
    steps = "      - {move: c}\n      - {move: d, work: 5s}\n      - {move: e}\n"
    assert said(plan_with(steps)) == [
        "5:16 the move 'c' has no working time",
        "7:16 the move 'e' has no working time",
    ]


@pytest.mark.parametrize(("own", "rounds"), [("", 2), ("    rounds: 3\n", 3)])
def test_rounds_are_among_those_that_flex_allows(own: str, rounds: int) -> None:
    """Without a promised length, too: a part that may have 2 to 4 rounds never has the usual one."""
    text = plan_with("      - rest: 5s\n", f"{own}    flex: {{rounds: 2..4}}\n")
    assert parse_plan(text).parts[0].rounds == rounds
    assert parse_plan(text.replace("2..4", "1..4")).parts[0].rounds == (rounds if own else 1)


@pytest.mark.parametrize("own", [1, 5])
def test_rounds_beyond_what_flex_allows_are_refused(own: int) -> None:
    text = plan_with("      - rest: 5s\n", f"    rounds: {own}\n    flex: {{rounds: 2..4}}\n")
    assert said(text) == [f"4:13 `rounds: {own}` is not among the 2..4 that `flex` allows"]
    assert said(text.replace("2..4", "4..2")) == ["5:20 '4..2' is no range of rounds"]


@pytest.mark.parametrize("key", ["wrok", "Work", "stage", "stagse"])
def test_misspelt_working_time_is_not_called_missing_as_well(key: str) -> None:
    assert said(plan_with(f"      - {{move: c, {key}: 5s}}\n")) == [f"5:19 unknown key {key!r}"]
    assert said(plan_with("      - {move: c}\n", f"    {key}: 5s\n")) == [f"4:5 unknown key {key!r}"]


def test_misspelt_say_is_not_called_silent_as_well() -> None:
    step = "      - {move: c, work: 5s, cues: [{at: 2s, says: x}]}\n"
    assert said(plan_with(step)) == ["5:45 unknown key 'says'"]


@pytest.mark.parametrize("off", ["off", "no", "false", "OFF"])
def test_off_words(off: str) -> None:
    groups = f"start: {off}, finish: {{warn: {off}}}, stage: {{tone: {off}}}"
    calls = f"calls: {{{groups}, halfway: {off}, announce: {off}}}"
    session = parse_plan(f"{calls}\nbed: {off}\n{plan_with('      - {talk: 5s}')}")
    assert session.bed == "off"
    assert session.calls is not None
    assert session.calls.start == "off"
    assert session.calls.finish is not None
    assert session.calls.finish != "off"
    assert session.calls.finish.warn == "off"
    assert session.calls.halfway is False
    assert session.calls.announce == ()


def test_model_from_a_program_takes_plain_values() -> None:
    part = {"part": "b", "work": "30s", "steps": [{"move": "c"}, {"rest": "5s"}]}
    session = Session.model_validate({"session": "a", "lead-in": "3s", "parts": [part]})
    assert session == parse_plan(
        "session: a\nlead-in: 3s\nparts: [{part: b, work: 30s, steps: [{move: c}, {rest: 5s}]}]"
    )
    assert session.place is None
    assert Part.model_validate(part).rounds == 1
