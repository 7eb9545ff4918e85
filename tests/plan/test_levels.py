"""Levels: the texts, times and stages of an easier or a harder version of a move."""

from __future__ import annotations

import pytest

from cuetrack import build
from cuetrack.errors import PlanError
from cuetrack.plan.levels import at_level, option_of, other_levels
from cuetrack.plan.text import parse_plan, read_plan
from cuetrack.timeline.runs import runs_of

PLAN = """session: Quay
parts:
  - part: Circuit
    stages: [{slow: 20s}, {steady: 20s}]
    rest: 20s
    steps:
      - move: Row
        easier: Hold the band wider.
        harder: {say: Pause at the top., stages: [{slow: 15s}, {paused: 25s}]}
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
    assert phases(plan, "harder")[1] == [("Row", "slow", 15), ("Row", "paused", 25), ("Press", None, 40)]


def test_versions_with_the_same_times_stay_in_step_and_others_are_told(plan):
    easier, _ = phases(plan, "easier")
    harder, _ = phases(plan, "harder")
    standard, _ = phases(plan, "standard")
    (warning,) = easier.warnings
    assert warning.message == "from 1:05 on the easier version is not in step with the standard one"
    assert (warning.place.line, warning.place.line_text.strip()) == (11, "easier: {work: 30s}")
    assert harder.warnings == standard.warnings == ()
    moves = [[(run.start, run.end) for run in runs_of(known.timeline.phases)] for known in (harder, standard)]
    assert moves[0] == moves[1]


PROMISED = """session: Quay
length: {length}
lead-in: 8s
parts:
  - part: Circuit
    steps:
      - {{move: Row, work: 40s, rest: 6s..40s}}
      - move: Press
        work: 40s
        rest: 20s..60s
        easier: {easier}
      - {{move: Squat, work: 40s}}
"""
LONG = "Keep one hand on the rail, take the lightest of the bands and breathe out as you push it up."


def rests(plan, level):
    known = build.compile_plan(plan, level=level)
    assert known.warnings == ()
    return [phase.length.seconds for phase in known.timeline.phases if phase.kind == "rest"][:2]


def test_versions_of_a_promised_length_stay_in_step_whatever_they_say(plan):
    """The rest before the easier version's long text has room for it at every level."""
    plan.write_text(PROMISED.format(length="2:44", easier="Lighter."), encoding="utf-8")
    short = rests(plan, "standard")
    assert short == rests(plan, "easier") == rests(plan, "harder")
    plan.write_text(PROMISED.format(length="2:44", easier=LONG), encoding="utf-8")
    long = rests(plan, "standard")
    assert long == rests(plan, "easier") == rests(plan, "harder")
    assert sum(long) == sum(short) == 34
    assert long[0] > short[0]


def test_words_of_another_level_break_no_promise(plan):
    plan.write_text(PROMISED.format(length="2:38", easier=LONG), encoding="utf-8")
    assert sum(rests(plan, "standard")) == 28
    with pytest.raises(PlanError) as caught:
        build.compile_plan(plan, level="easier")
    (fault,) = caught.value.diagnostics
    assert fault.message == "the session can last 2 min 42 s to 3 min 50 s, not 2 min 38 s"
    assert "(rest after 'Row': 12 s or more for what is called; rest after 'Press')" in fault.hint


@pytest.mark.parametrize(
    ("own", "options", "others"),
    [
        ("standard", "", ()),
        ("harder", "", ()),
        ("standard", "easier: Wider.", ("easier",)),
        ("easier", "harder: {work: 30s}", ("standard", "harder")),
        ("harder", "easier: Wider., harder: Pause.", ("easier", "standard")),
    ],
)
def test_levels_at_which_something_differs(own, options, others):
    text = f"session: a\nlevel: {own}\nparts: [{{part: b, steps: [{{move: Row, work: 20s, {options}}}]}}]\n"
    assert other_levels(parse_plan(text)) == others


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
