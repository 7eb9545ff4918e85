"""The slates: on the first instant and half a second before the end, and nothing else with them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan
from cuetrack.sound.tone_table import tone_spec
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import CountWord, SlateCue, SpokenCue, Wordless

PLAN = """session: Quay circuit
slate: on
KEYS
parts:
  - part: Circuit
    steps:
      - {move: Band row, setup: Sit tall, work: 30s}
"""


def timeline(keys: str = "", plan: str = PLAN) -> Timeline:
    return compiled(parse_plan(plan.replace("KEYS", keys), "quay.yaml"))


def slates(found: Timeline) -> list[Fraction]:
    return [cue.mark.seconds for cue in found.cues if isinstance(cue, SlateCue)]


def faults(keys: str) -> list[tuple[str, str, str | None]]:
    with pytest.raises(PlanError) as caught:
        timeline(keys)
    return [(str(d.place), d.message, d.hint) for d in caught.value.diagnostics]


def test_one_at_the_head_and_one_at_the_tail() -> None:
    found = timeline("lead-out: 3s")
    assert found.end.seconds == 5 + 30 + 3
    assert slates(found) == [0, Fraction("37.5")]
    for cue in found.cues:
        if isinstance(cue, SlateCue):
            assert cue.sound == "slate"
            assert str(cue.place) == "quay.yaml:2:8"
            assert found.phases[cue.phase_index].part is None


@pytest.mark.parametrize("switch", ["off", "no", "false"])
def test_none_unless_they_are_asked_for(switch: str) -> None:
    assert slates(timeline(plan=PLAN.replace("slate: on\n", ""))) == []
    assert slates(timeline(plan=PLAN.replace("slate: on", f"slate: {switch}"))) == []


def test_they_bring_a_lead_out_where_none_is_needed_otherwise() -> None:
    keys = "calls: {finish: off}"
    assert timeline(keys, PLAN.replace("slate: on\n", "")).end.seconds == 35
    found = timeline(keys)
    assert (found.end.seconds, slates(found)) == (37, [0, Fraction("36.5")])


def test_nothing_else_sounds_with_them() -> None:
    """Also where there is least room: a lead of one second, and all that can be said there."""
    length = tone_spec("slate").length_seconds
    for keys in (
        "lead-in: 1s\nlead-out: 1s",
        "calls: {praise: on, finish: {by: both}, start: {by: both}}",
        "lead-in: 6s\nlead-out: 1s\ncalls: {start: {count: 5, by: both}, finish: {count: 3, by: both}}",
    ):
        found = timeline(keys)
        tail = slates(found)[1]
        assert tail + length <= found.end.seconds
        for cue in found.cues:
            if isinstance(cue, SlateCue):
                continue
            if isinstance(cue, Wordless):
                assert cue.mark.seconds > length
                assert cue.mark.seconds + tone_spec(cue.sound).length_seconds <= tail
            else:
                assert isinstance(cue, CountWord | SpokenCue)
                assert cue.window.earliest.seconds > length
                assert cue.window.latest_end.seconds <= tail


def test_they_move_no_tone_no_count_and_no_phase() -> None:
    keys = "lead-out: 2s\ncalls: {start: {by: both}, finish: {by: both}}"
    plain, found = timeline(keys, PLAN.replace("slate: on", "")), timeline(keys)
    assert [(p.kind, p.start, p.end) for p in found.phases] == [
        (p.kind, p.start, p.end) for p in plain.phases
    ]
    others = [cue for cue in found.cues if not isinstance(cue, SlateCue)]
    assert [(type(cue), cue.mark) for cue in others] == [(type(cue), cue.mark) for cue in plain.cues]


@pytest.mark.parametrize("lead_in", ["0s", "0.99s"])
def test_first_slate_needs_a_lead_in(lead_in: str) -> None:
    assert faults(f"lead-in: {lead_in}") == [
        ("quay.yaml:2:8", "the first slate has no room", "write `lead-in: 1s` or more")
    ]


@pytest.mark.parametrize("lead_out", ["0s", "0.99s"])
def test_last_slate_needs_a_lead_out(lead_out: str) -> None:
    assert faults(f"lead-out: {lead_out}") == [
        ("quay.yaml:2:8", "the last slate has no room", "write `lead-out: 1s` or more")
    ]


def test_a_count_that_begins_with_the_first_slate_is_a_fault_on_its_line() -> None:
    keys = "lead-in: 4s\ncalls: {start: {count: N}}"
    assert faults(keys.replace("N", "4")) == [
        ("quay.yaml:4:24", "this sounds with the first slate", "write a longer `lead-in`")
    ]
    assert len(slates(timeline(keys.replace("N", "3")))) == 2


def test_a_slate_of_the_coachs_own_stands_where_it_is_written() -> None:
    plan = PLAN.replace("slate: on\n", "").replace("work: 30s", "work: 30s, cues: [{at: 10s, tone: slate}]")
    assert slates(timeline(plan=plan)) == [15]
