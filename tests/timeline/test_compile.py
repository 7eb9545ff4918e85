"""Cues that cannot exist, counts without a tempo, sessions beyond the limits: exact texts, all at once."""

from __future__ import annotations

from textwrap import dedent

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan
from cuetrack.timeline import compile as compile_module
from cuetrack.timeline import phases
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import ToneCue


def timeline(plan: str) -> Timeline:
    return compiled(parse_plan(dedent(plan).strip(), "quay.yaml"))


def refusal(plan: str) -> str:
    with pytest.raises(PlanError) as error:
        timeline(plan)
    return str(error.value)


def expected(text: str) -> str:
    return dedent(text).rstrip("\n")


PLAN = """
    session: Quay circuit
    calls: {{{calls}}}
    parts:
      - part: Circuit
        rest: {rest}
        steps:
          - move: Band row
            work: 30s
          - move: Chair squat
            work: {work}
"""


def plan(calls: str, rest: str = "20s", work: str = "30s") -> str:
    return dedent(PLAN.format(calls=calls, rest=rest, work=work))


def test_count_longer_than_the_rest_before() -> None:
    text = plan("start: {count: 5}", rest="4.5s")
    assert refusal(text) == expected("""\
        quay.yaml:2:24: error: a count from 5 s is longer than the 4.5 s before 'Chair squat'
            calls: {start: {count: 5}}
                                   ^
            hint: a rest of 5 s or more before 'Chair squat' fits it; or `count: 4`
        """)
    assert timeline(text.replace("4.5s", "5s"))
    assert timeline(text.replace("count: 5", "count: 4"))


def test_spoken_count_needs_some_time_before_its_first_word() -> None:
    """The sound of a word begins before the instant that it counts."""
    text = plan("start: {count: 5, by: voice}", rest="4s")
    assert refusal(text) == expected("""\
        quay.yaml:2:24: error: a count from 5 s is longer than the 4 s before 'Chair squat'
            calls: {start: {count: 5, by: voice}}
                                   ^
            hint: a rest of 6 s or more before 'Chair squat' fits it; or `count: 3`
        """)


def test_count_longer_than_the_work() -> None:
    assert refusal(plan("finish: {warn: off, count: [9, 2]}", work="8s")) == expected("""\
        quay.yaml:2:36: error: a count from 9 s is longer than the 8 s of 'Chair squat'
            calls: {finish: {warn: off, count: [9, 2]}}
                                               ^^^^^^
            hint: a working time of 9 s or more of 'Chair squat' fits it; or `count: 8`
        """)


def test_count_longer_than_the_work_before_a_move_without_a_rest() -> None:
    text = plan("start: {count: 6}", rest="0s").replace("work: 30s", "work: 5s", 1)
    assert "lead-in" in refusal(text)
    assert refusal("lead-in: 9s\n" + text.strip()) == expected("""\
        quay.yaml:3:24: error: a count from 6 s is longer than the 5 s before 'Chair squat'
            calls: {start: {count: 6}}
                                   ^
            hint: a rest of 6 s or more before 'Chair squat' fits it; or `count: 5`
        """)


def test_voice_counts_whole_seconds() -> None:
    assert refusal(plan("start: {count: [2.5, 1], by: both}")) == expected("""\
        quay.yaml:2:24: error: a voice counts whole seconds only
            calls: {start: {count: [2.5, 1], by: both}}
                                   ^^^^^^^^
            hint: whole seconds, or `by: tones`
        """)


def test_warning_as_long_as_the_work() -> None:
    text = plan("finish: {warn: 12s}", work="12s")
    assert refusal(text) == expected("""\
        quay.yaml:2:24: error: a warning 12 s before the end comes before the start
            calls: {finish: {warn: 12s}}
                                   ^^^
            hint: 'Chair squat' is worked for 12 s; warn later, or write `warn: off`
        """)
    assert timeline(text.replace("work: 12s", "work: 12.5s"))


def test_warning_on_the_very_end() -> None:
    assert refusal(plan("finish: {warn: 0s}")) == expected("""\
        quay.yaml:2:24: error: a warning on the very end warns of nothing
            calls: {finish: {warn: 0s}}
                                   ^^
            hint: write `warn: 10s` or `warn: off`
        """)


def test_own_cue_outside_its_stretch() -> None:
    text = (
        plan("start: off")
        + "        cues: [{at: -31s, tone: soft}, {at: 30.5s, say: Up.}, {at: 30s, say: Now.}]"
    )
    assert refusal(text) == expected("""\
        quay.yaml:11:21: error: `at: -31 s` lies outside its stretch of 30 s
            cues: [{at: -31s, tone: soft}, {at: 30.5s, say: Up.}, {at: 30s, say: Now.}]
                        ^^^^
            hint: write 0 s to 30 s, or -1s from its end
        quay.yaml:11:45: error: `at: 30.5 s` lies outside its stretch of 30 s
            cues: [{at: -31s, tone: soft}, {at: 30.5s, say: Up.}, {at: 30s, say: Now.}]
                                                ^^^^^
            hint: write 0 s to 30 s, or -1s from its end
        """)


def test_counts_at_no_tempo_are_all_named() -> None:
    text = plan("start: off", rest="8 counts", work="32 counts")
    assert refusal(text) == expected("""\
        quay.yaml:5:11: error: 8 counts, but no tempo to count them at
            rest: 8 counts
                  ^^^^^^^^
            hint: add `tempo: 120 bpm` to the move, or `bed: {pulse: 120 bpm}`, or `tempo:` to its files
        quay.yaml:10:15: error: 32 counts, but no tempo to count them at
            work: 32 counts
                  ^^^^^^^^^
            hint: add `tempo: 120 bpm` to the move, or `bed: {pulse: 120 bpm}`, or `tempo:` to its files
        """)


def test_a_fault_on_one_line_is_told_once_for_all_rounds() -> None:
    text = plan("finish: {warn: 12s}", work="12s").replace("    rest:", "    rounds: 5\n    rest:")
    assert refusal(text).count("error:") == 1


DAY = """
    session: A day
    lead-in: 0s
    lead-out: {out}
    calls: {{announce: off, start: off, finish: off}}
    parts:
      - part: Rowing
        rounds: {rounds}
        steps: [{{move: Row, work: 1 h}}]
"""


def test_24_hours_are_allowed_and_not_a_second_more() -> None:
    assert timeline(DAY.format(out="0s", rounds=24)).end.seconds == 24 * 3600
    assert timeline(DAY.format(out="1 h", rounds=23)).end.seconds == 24 * 3600
    assert refusal(DAY.format(out="0s", rounds=25)) == expected("""\
        quay.yaml:8:31: error: the session passes 24 h here
            steps: [{move: Row, work: 1 h}]
                                      ^^^
            hint: fewer `rounds:`, or split it into several plans
        """)
    assert refusal(DAY.format(out="1s", rounds=24)) == expected("""\
        quay.yaml:3:11: error: the session passes 24 h here
            lead-out: 1s
                      ^^
            hint: fewer `rounds:`, or split it into several plans
        """)


def test_too_many_phases(monkeypatch: pytest.MonkeyPatch) -> None:
    assert phases.MAX_PHASES == 100_000
    monkeypatch.setattr(phases, "MAX_PHASES", 20)
    assert len(timeline(DAY.format(out="0s", rounds=20)).phases) == 20
    assert "the session has more than 20 phases" in refusal(DAY.format(out="0s", rounds=21))
    assert "the session has more than 20 phases" in refusal(DAY.format(out="1s", rounds=20))


def test_too_many_steps_of_no_time() -> None:
    """They are no phases, and still have to be gone through in every round."""
    assert phases.MAX_TURNS == 200_000
    text = DAY.format(out="0s", rounds=1000).replace("{move: Row, work: 1 h}", "N{rest: 0s}")
    fault = "quay.yaml:6:3: error: the session has more than 200000 steps in all its rounds"
    assert refusal(text.replace("N", "{rest: 0s}, " * 200)).startswith(fault)
    assert "has no time in it" in refusal(text.replace("N", "{rest: 0s}, " * 199))


def test_too_many_cues(monkeypatch: pytest.MonkeyPatch) -> None:
    assert compile_module.MAX_CUES == 250_000
    monkeypatch.setattr(compile_module, "MAX_CUES", 240)
    text = DAY.format(out="0s", rounds=2).replace("work: 1 h", "work: 1 min, tempo: N bpm")
    assert len(timeline(text.replace("N", "120")).cues) == 240
    assert refusal(text.replace("N", "121")) == expected("""\
        quay.yaml:8:20: error: more than 240 cues
            steps: [{move: Row, work: 1 min, tempo: 121 bpm}]
                           ^^^
            hint: write fewer rounds
        """)


def test_too_many_cues_in_rests(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compile_module, "MAX_CUES", 240)
    rest = "{rest: 1 min, cues: [{at: 1s, tone: soft}, {at: 2s, tone: soft}]}"
    text = DAY.replace("{{move: Row, work: 1 h}}", rest.replace("{", "{{").replace("}", "}}"))
    assert len(timeline(text.format(out="0s", rounds=120)).cues) == 240
    assert "8:14: error: more than 240 cues" in refusal(text.format(out="0s", rounds=121))


def test_a_tone_that_two_counts_share_is_soft_where_one_of_them_counts_aloud() -> None:
    """Work follows work: the tones out of the first stand on those into the second, and under its words."""
    text = plan("start: {by: both}", rest="0s")
    shared = [cue for cue in timeline(text).cues if isinstance(cue, ToneCue) and 32 <= cue.mark.seconds <= 35]
    assert [(cue.sound, cue.mark.seconds, cue.under_words) for cue in shared] == [
        *(("count-short", second, True) for second in (32, 33, 34)),
        ("count-long", 35, True),
    ]


def test_session_without_any_time() -> None:
    text = DAY.format(out="0s", rounds=1).replace("{move: Row, work: 1 h}", "{rest: 0s}")
    assert refusal(text).startswith("quay.yaml:6:3: error: the session has no time in it")


def test_same_plan_gives_the_same_timeline() -> None:
    assert timeline(plan("finish: {by: both}")) == timeline(plan("finish: {by: both}"))
