"""Chapters: where they begin, what they are called, and that they tile the programme."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from cuetrack.writers.chapters import MOST_CHAPTERS, chapters_of, chapters_text
from tests.helpers.likely import CASES, SAMPLES, likely, likely_of, untidy_plan

_PLAN = """
session: Quay
lead-in: 10s
parts:
  - part: Welcome
    steps: [{talk: 20s}]
  - part: Circuit
    rounds: 2
    rest: 20s
    steps:
      - {move: Row, work: 30.0125s, sides: both}
      - {move: Press, work: 30s}
"""


@pytest.mark.parametrize("plan", [*SAMPLES, *CASES], ids=lambda plan: plan.stem)
def test_chapters_tile_the_programme_to_the_millisecond(plan):
    arrangement = likely(plan, 44_100)
    chapters = chapters_of(arrangement)
    assert chapters[0].start_frame == 0
    assert chapters[-1].end_frame == arrangement.frames
    assert all(one.end_frame == two.start_frame for one, two in pairwise(chapters))
    assert all(one.end_milliseconds == two.start_milliseconds for one, two in pairwise(chapters))
    for one in chapters:
        assert one.start_milliseconds < one.end_milliseconds
        assert abs(one.start_milliseconds - Fraction(one.start_frame * 1000, 44_100)) <= Fraction(1, 2)


def test_a_chapter_begins_where_its_move_is_announced():
    chapters = chapters_of(likely_of(_PLAN))
    assert [(one.title, one.start_milliseconds) for one in chapters] == [
        ("Welcome", 0),
        ("Row · Round 1 of 2", 30_000),
        # 30.0125 s twice and 5 s between the sides: 95.025 s, where the rest before the press begins.
        ("Press · Round 1 of 2", 95_025),
        ("Row · Round 2 of 2", 145_025),
        ("Press · Round 2 of 2", 230_050),
    ]


def test_a_text_has_a_line_a_chapter_from_the_first_second():
    arrangement = likely_of(untidy_plan())
    chapters = chapters_of(arrangement)
    lines = chapters_text(chapters, arrangement.rate_hz).splitlines()
    assert len(lines) == len(chapters) > 5
    assert lines[0].startswith("0:00 ")


def test_more_moves_than_a_file_can_hold_become_rounds_and_parts():
    moves = "".join(f"      - {{move: Row {i}, work: 1s}}\n" for i in range(100))
    calls = "calls: {announce: off, start: {by: none}, finish: {warn: off, by: none}}\n"
    plan = f"session: Long\n{calls}parts:\n  - part: One\n    rounds: ROUNDS\n    steps:\n{moves}"
    by_round = chapters_of(likely_of(plan.replace("ROUNDS", "3")))
    assert [one.title for one in by_round] == [f"One · Round {i} of 3" for i in (1, 2, 3)]
    by_part = chapters_of(likely_of(plan.replace("ROUNDS", str(MOST_CHAPTERS + 1))))
    assert [one.title for one in by_part] == ["One"]
