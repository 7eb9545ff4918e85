"""Generated plans: phases, marks and windows against the design's rules, worked out a second time by hand."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import Announcement, Call, CountWord, Wordless
from tests.helpers import by_hand
from tests.helpers.plans import Plan, given_examples, plans, session_of

WHOLE_MIX = plans()
given = given_examples(60)


def timeline_of(plan: Plan) -> Timeline:
    return compiled(session_of(plan))


def name(step: Any) -> str | None:
    return step.get("move") if step else None


@given(WHOLE_MIX)
def test_phases_tile_the_session(plan: Plan) -> None:
    timeline = timeline_of(plan)
    assert timeline.phases[0].start.seconds == 0
    assert all(before.end == after.start for before, after in pairwise(timeline.phases))
    assert all(phase.start < phase.end for phase in timeline.phases)
    assert [phase.index for phase in timeline.phases] == list(range(len(timeline.phases)))
    assert timeline.end == timeline.phases[-1].end


@given(WHOLE_MIX)
def test_phases_are_those_of_the_rules(plan: Plan) -> None:
    found = [
        (
            phase.kind,
            phase.start.seconds,
            phase.end.seconds,
            phase.part.part if phase.part else None,
            phase.move.move if phase.move else None,
            phase.stage.stage if phase.stage else None,
            phase.side,
        )
        for phase in timeline_of(plan).phases
    ]
    expected = [
        (
            stretch.kind,
            stretch.start,
            stretch.end,
            stretch.part["part"] if stretch.part else None,
            name(stretch.step) if stretch.kind in {"work", "change"} else None,
            stretch.stage.get("stage") if stretch.stage else None,
            stretch.side,
        )
        for stretch in by_hand.stretches(plan)
    ]
    assert found == expected


@given(WHOLE_MIX)
def test_total_is_the_sum_of_the_times_in_the_plan(plan: Plan) -> None:
    """Added up part by part from the written times alone, without laying anything out."""
    total = by_hand.seconds(plan.get("lead-in", "5 s")) + by_hand.seconds(plan.get("lead-out", "0 s"))
    for part in plan["parts"]:
        total += sum(part.get("rounds", 1) * time_of_step(step, part) for step in part["steps"])
        total += automatic_rests(part)
    assert timeline_of(plan).end.seconds == total


def time_of_step(step: by_hand.Step, part: by_hand.Step) -> Fraction:
    if "move" not in step:
        return by_hand.seconds(step.get("rest", step.get("talk")))
    owner = next(owner for owner in (step, part) if "work" in owner or "stages" in owner)
    times = [owner["work"]] if "work" in owner else [stage["work"] for stage in owner["stages"]]
    change = by_hand.seconds(step.get("change", part.get("change", "5 s")))
    sides = 2 if step.get("sides") in ("both", ["right", "left"]) else 1
    return sides * sum(map(by_hand.seconds, times), Fraction(0)) + (sides - 1) * change


def automatic_rests(part: by_hand.Step) -> Fraction:
    """After each move that no rest step follows; for the part's last in its last round only its own."""
    steps = part["steps"] * part.get("rounds", 1)
    moves = [index for index, step in enumerate(steps) if "move" in step]
    rests = [
        steps[index].get("rest", part.get("rest", "0 s"))
        for index in moves[:-1]
        if "move" in steps[index + 1] or "rest" not in steps[index + 1]
    ]
    # A rest that the last move was given itself is written out, and so it is kept.
    last = moves[-1] if moves else None
    if last is not None and not (
        steps[last + 1 :] and "move" not in steps[last + 1] and "rest" in steps[last + 1]
    ):
        rests.append(steps[last].get("rest", "0 s"))
    return sum(map(by_hand.seconds, rests), Fraction(0))


@given(WHOLE_MIX)
def test_both_sides_of_a_move_are_equally_long(plan: Plan) -> None:
    by_turn: dict[int, dict[str, list[Fraction]]] = {}
    for phase in timeline_of(plan).phases:
        if phase.kind == "work" and phase.side is not None:
            by_turn.setdefault(phase.turn, {}).setdefault(phase.side, []).append(phase.length.seconds)
    for sides in by_turn.values():
        lengths = list(sides.values())
        assert all(other == lengths[0] for other in lengths)


@given(WHOLE_MIX)
def test_tones_stand_where_the_rules_say(plan: Plan) -> None:
    sounded = [(cue.sound, cue.mark.seconds) for cue in timeline_of(plan).cues if isinstance(cue, Wordless)]
    assert len(sounded) == len(set(sounded))
    assert set(sounded) == by_hand.tones(plan)


@given(WHOLE_MIX)
def test_cues_are_in_the_order_of_their_marks_and_in_their_phase(plan: Plan) -> None:
    timeline = timeline_of(plan)
    marks = [cue.mark for cue in timeline.cues]
    assert marks == sorted(marks)
    for cue in timeline.cues:
        phase = timeline.phases[cue.phase_index]
        if isinstance(cue, Wordless | CountWord):
            assert phase.start <= cue.mark
            assert cue.mark < phase.end or cue.mark == timeline.end


@given(WHOLE_MIX)
def test_what_is_said_about_a_move_ends_half_a_second_before_its_count(plan: Plan) -> None:
    """From the last word to the start tone: 0.500 s, International Jump Rope Union, timing tracks."""
    found = by_hand.stretches(plan)
    counted_from = {}
    for run, lead in zip(by_hand.runs(found), by_hand.leads(found), strict=True):
        points = by_hand.count_points(plan, run[0], "start", lead)
        counted_from[run[0].start] = run[0].start - max(points, default=Fraction(0))
    for cue in timeline_of(plan).cues:
        if isinstance(cue, Announcement):
            assert cue.window.latest_end.seconds == counted_from[cue.mark.seconds] - Fraction(1, 2)


@given(WHOLE_MIX)
def test_next_stage_is_named_in_the_stage_before_and_so_long_ahead(plan: Plan) -> None:
    expected = set()
    for run in by_hand.runs(by_hand.stretches(plan)):
        for before, stretch in pairwise(run):
            ahead = by_hand.setting(plan, stretch, "stage", "ahead", "2 s")
            if ahead != "off":
                window = before.start, stretch.start - by_hand.seconds(ahead)
                expected.add((stretch.stage["stage"], stretch.start, *window) if stretch.stage else ())
    found = {
        (
            cue.phrase.slots["stage"],
            cue.mark.seconds,
            cue.window.earliest.seconds,
            cue.window.latest_end.seconds,
        )
        for cue in timeline_of(plan).cues
        if isinstance(cue, Call) and cue.phrase.key == "stage"
    }
    assert found == expected


@pytest.mark.parametrize("kind", ["rest", "talk"])
def test_a_step_of_no_time_is_no_phase(kind: str) -> None:
    plan = {
        "session": "Quay",
        "parts": [{"part": "A", "steps": [{kind: "0 s"}, {"move": "Row", "work": "9 s"}]}],
    }
    assert [phase.kind for phase in timeline_of(plan).phases] == ["lead-in", "work", "rest"]
