"""Levels: the texts, times and stages of an easier or a harder version of a move."""

from __future__ import annotations

import pytest

from cuetrack import build
from cuetrack.errors import PlanError
from cuetrack.plan.levels import at_level, option_of
from cuetrack.plan.text import read_plan

PLAN = """session: Quay
parts:
  - part: Circuit
    stages: [{slow: 20s}, {steady: 20s}]
    rest: 20s
    steps:
      - move: Row
        easier: Hold the band wider.
        harder: {say: Pause at the top., stages: [{slow: 20s}, {paused: 20s}]}
      - move: Press
        easier: {work: 30s}
        work: 40s
"""


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "quay.yaml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def phases(plan, level):
    known = build.compile_plan(plan, level=level)
    return known, [
        (phase.move.move, phase.stage.stage if phase.stage else None, phase.length.seconds)
        for phase in known.timeline.phases
        if phase.kind == "work"
    ]


def test_each_level_does_its_own_version(plan):
    row = [("Row", "slow", 20), ("Row", "steady", 20)]
    assert phases(plan, "standard")[1] == [*row, ("Press", None, 40)]
    assert phases(plan, "easier")[1] == [*row, ("Press", None, 30)]
    assert phases(plan, "harder")[1] == [("Row", "slow", 20), ("Row", "paused", 20), ("Press", None, 40)]


def test_versions_with_the_same_times_stay_in_step_and_others_are_told(plan):
    easier, _ = phases(plan, "easier")
    harder, _ = phases(plan, "harder")
    standard, _ = phases(plan, "standard")
    (warning,) = easier.warnings
    assert warning.message == "from 1:05 on the easier version is not in step with the standard one"
    assert (warning.place.line, warning.place.line_text.strip()) == (11, "easier: {work: 30s}")
    assert harder.warnings == standard.warnings == ()
    assert [phase.end for phase in harder.timeline.phases] == [p.end for p in standard.timeline.phases]


def test_what_an_option_says_is_announced_at_its_level_only(plan):
    said = {
        level: [build.text_of(known, cue.phrase) for cue in known.timeline.cues if hasattr(cue, "phrase")]
        for level in ("standard", "easier", "harder")
        for known in [build.compile_plan(plan, level=level)]
    }
    assert any("Hold the band wider." in text for text in said["easier"])
    assert any("Pause at the top." in text for text in said["harder"])
    assert not any("Hold" in text or "Pause at" in text for text in said["standard"])


def test_the_standard_level_is_the_session_itself(plan):
    session = read_plan(plan)
    assert at_level(session) is session
    assert option_of(session, session.parts[0].steps[0]) is None


@pytest.mark.parametrize(
    ("option", "message"),
    [
        ("{}", "this option says nothing"),
        ("{work: 20s, stages: [{slow: 10s}]}", "`work` and `stages` both give the working time"),
        ("{sai: Wider.}", "unknown key 'sai'"),
        ("{work: soon}", "'soon' is not a time"),
    ],
)
def test_a_wrong_option_is_told_on_its_line(plan, option, message):
    plan.write_text(PLAN.replace("{work: 30s}", option), encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        read_plan(plan)
    assert message in caught.value.diagnostics[0].message
    assert caught.value.diagnostics[0].place.line == 11
