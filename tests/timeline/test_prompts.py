"""What only the coach hears: exact instants, what is said, and nothing that moves what the class hears.

When prompts come is our own rule (common practice, no source); the instants were worked out by hand.
"""

from __future__ import annotations

from textwrap import dedent

import pytest

from cuetrack.plan.text import parse_plan
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.cues import Cue, Priority, Prompt
from cuetrack.timeline.prompts import keywords

PLAN = """
    session: Quay circuit
    lead-in: 5s
    parts:
      - part: Welcome
        steps:
          - talk: 25s
            notes: Who it is for. Band, chair, mat.
      - part: Circuit
        rounds: 2
        rest: 15s
        steps:
          - move: Band row
            work: 40s
            notes: Sit tall, *elbows close*, then *breathe   out*.
          - move: Press
            sides: both
            work: 20s
      - part: Cool-down
        steps:
          - {move: Child's pose, work: 16s}
          - talk: 60s
"""
# 0 lead-in, 5 talk, 30 Band row, 70 rest, 85 Press left, 105 change, 110 Press right, 130 rest,
# 145 Band row, 185 rest, 200 Press left, 220 change, 225 Press right, 245 Child's pose, 261 talk, 321 end.


def cues(plan: str = PLAN, *, prompts: bool = True) -> tuple[Cue, ...]:
    return compiled(parse_plan(dedent(plan), "quay.yaml"), prompts=prompts).cues


def prompts_of(plan: str = PLAN) -> list[Prompt]:
    return [cue for cue in cues(plan) if isinstance(cue, Prompt)]


def told(plan: str = PLAN) -> list[str]:
    return [
        " ".join([f"{float(cue.mark.seconds):g}", cue.phrase.key, *filter(None, cue.phrase.slots.values())])
        for cue in prompts_of(plan)
    ]


def one_move(move: str) -> str:
    return f"{{session: a, lead-in: 5s, parts: [{{part: b, steps: [{{move: Row, {move}}}]}}]}}"


def test_whole_session() -> None:
    assert told() == [
        "6.5 prompt-talk 25 Who it is for",
        "20 prompt-left 10",
        "31.5 prompt-part Circuit 300",  # 291 s are left, to the whole minute
        "31.5 prompt-work 40 elbows close, breathe out",
        "50 prompt-next Press left",
        "86.5 prompt-work 20",
        "95 prompt-side right",
        "111.5 prompt-work 20",
        "120 prompt-next Band row",
        "146.5 prompt-work 40 elbows close, breathe out",
        "165 prompt-next Press left",
        "201.5 prompt-work 20",
        "210 prompt-side right",
        "226.5 prompt-work 20",
        "235 prompt-next Child's pose",
        "246.5 prompt-part Cool-down 60",
        "246.5 prompt-work 16",
        "253 prompt-last",
        "262.5 prompt-talk 60",
        "311 prompt-left 10",
    ]


def test_without_being_asked_for_there_are_none() -> None:
    assert not any(isinstance(cue, Prompt) for cue in cues(prompts=False))


@pytest.mark.parametrize("style", ["full", "terse"])
def test_prompts_change_nothing_that_the_class_hears(style: str) -> None:
    plan = dedent(PLAN).replace("lead-in: 5s", f"lead-in: 5s\nstyle: {style}")
    assert tuple(cue for cue in cues(plan) if not isinstance(cue, Prompt)) == cues(plan, prompts=False)


def test_each_gives_way_stays_near_its_mark_and_ends_before_what_it_is_about() -> None:
    timeline = compiled(parse_plan(dedent(PLAN)), prompts=True)
    found = prompts_of()
    assert len(found) == 20
    for cue in found:
        assert cue.gives_way
        assert cue.priority is max(Priority)
        assert cue.window.earliest == cue.wanted == cue.mark < cue.window.latest_end <= timeline.end
        assert cue.window.latest_start is not None
        assert (cue.window.latest_start - cue.mark).seconds == 5
        phase = timeline.phases[cue.phase_index]
        assert phase.start <= cue.mark < phase.end
    # What comes next is not spoken within the last seconds, which are counted.
    (first_next, *_) = (cue for cue in found if cue.phrase.key == "prompt-next")
    assert first_next.window.latest_end.seconds == 70 - 4


def test_each_points_at_the_line_of_its_step() -> None:
    lines = {cue.phrase.key: cue.place and cue.place.line for cue in reversed(prompts_of())}
    assert lines["prompt-talk"] == 7
    assert lines["prompt-work"] == 13
    assert lines["prompt-side"] == 16


def test_short_work_and_short_talk_are_left_alone() -> None:
    assert told(one_move("work: 14.9s")) == []
    assert told(one_move("work: 15s")) == ["6.5 prompt-work 15", "12.5 prompt-last"]
    talk = "{{session: a, parts: [{{part: b, steps: [{{talk: {}}}]}}]}}"
    assert told(talk.format("1s")) == told(talk.format("4.9s")) == []
    assert told(talk.format("5s")) == ["6.5 prompt-talk 5"]
    assert told(talk.format("19s")) == ["6.5 prompt-talk 19"]
    assert told(talk.format("20s")) == ["6.5 prompt-talk 20", "15 prompt-left 10"]


def test_notes_of_stages_are_told_in_their_stage() -> None:
    stages = (
        "[{slow: 10s, notes: Down *in four*}, {still: 4s, notes: x}, {steady: 15s}, {fast: 6s, notes: Go}]"
    )
    assert told(one_move(f"stages: {stages}")) == [
        "6.5 prompt-work 35 in four",
        "22.5 prompt-last",
        "35.5 prompt-work 6 Go",
    ]
    first_told = told(one_move(f"stages: {stages}, notes: Elbows close"))[0]
    assert first_told == "6.5 prompt-work 35 Elbows close"  # the move's own notes come first


def test_part_that_begins_with_a_moment_of_rest_is_prompted_all_the_same() -> None:
    plan = """
        session: a
        parts:
          - {part: One, steps: [{rest: 10s}]}
          - {part: Two, steps: [{rest: 1s}, {move: Row, work: 60s}]}
    """
    (cue,) = (cue for cue in prompts_of(plan) if cue.phrase.key == "prompt-part")
    assert cue.mark.seconds == 16.5
    assert cue.phase_index == 3  # the work, in which it is heard
    assert cue.window.latest_end.seconds == 78


def test_parts_that_are_written_alike_are_two_parts() -> None:
    part = "{part: Row, steps: [{rest: 60s}]}"
    assert told(f"{{session: a, parts: [{part}, {part}]}}") == ["66.5 prompt-part Row 60"]


def test_less_than_half_a_minute_is_not_told_as_no_minutes() -> None:
    part = "{{part: {}, steps: [{{rest: {}}}]}}"
    for left, expected in (("29s", []), ("30s", ["66.5 prompt-part Two 60"])):
        parts = f"{part.format('One', '60s')}, {part.format('Two', left)}"
        assert told(f"{{session: a, parts: [{parts}]}}") == expected


@pytest.mark.parametrize(
    ("notes", "said"),
    [
        (None, ""),
        ("", ""),
        ("Breathe.", "Breathe"),
        ("Who is it for? The whole club.", "Who is it for"),
        ("Sit tall; elbows close", "Sit tall"),
        ("First line\nand a second", "First line"),
        ("one two three four five six seven", "one two three four five six"),
        ("one two three four five six, seven", "one two three four five six"),
        ("Row at 2.5 m per s", "Row at 2.5 m per s"),
        ("Keep *elbows close* and *breathe\n  out*.", "elbows close, breathe out"),
        ("**Stop** if anything hurts", "Stop"),
        # Lists and sums are no marks.
        ("* Band\n* Chair\n* Mat", "Band"),
        ("- Band, chair\n- mat", "Band, chair"),
        ("• *Band* and chair", "Band"),
        ("3 * 10 reps * 2", "3 * 10 reps * 2"),
        ("Row * 10* more", "Row * 10* more"),
        ("*", ""),
        ("***", ""),
        ("Hold * still", "Hold * still"),
    ],
)
def test_keywords(notes: str | None, said: str) -> None:
    assert keywords(notes) == said
