"""Open times are long enough for what a coach wrote into them: counts, warnings, cues at fixed points."""

from __future__ import annotations

from fractions import Fraction

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan
from cuetrack.timeline.compile import Timeline, compiled

# An open rest and two open talks; 20 s before, 80 s of work.
PLAN = """session: Quay
length: {length}
lead-in: 20s
calls: {{announce: off, finish: off{calls}}}
parts:
  - part: Main
    steps:
      - {{move: Row, work: 40s, rest: 2s..30s{row}}}
      - {{talk: 2s..30s{talk}}}
      - {{move: Press, work: 40s}}
      - {{talk: 2s..30s}}
"""


def timeline_of(length: str, *, calls: str = "", row: str = "", talk: str = "") -> Timeline:
    return compiled(parse_plan(PLAN.format(length=length, calls=calls, row=row, talk=talk)))


def open_lengths(timeline: Timeline) -> list[Fraction]:
    return [phase.length.seconds for phase in timeline.phases if phase.flexible is not None]


def test_without_a_wish_all_are_as_short_as_they_may_be() -> None:
    assert open_lengths(timeline_of("1:46")) == [2, 2, 2]


@pytest.mark.parametrize(
    ("calls", "talk", "expected"),
    [
        # Of a rest and a talk before Press the talk, which is the last, is asked for what the rest leaves.
        (", start: {count: 10}", "", [2, 8, 2]),
        (", start: {count: 10, by: voice}", "", [2, 9, 2]),
        (", start: {count: [13, 3], by: tones}", "", [2, 11, 2]),
        (", start: {count: 10, by: none}", "", [2, 2, 2]),
        ("", ", cues: [{at: 7s, tone: soft}]", [2, 7, 2]),
        ("", ", cues: [{at: -9s, tone: soft}, {at: 50%, tone: soft}]", [2, 9, 2]),
        (", start: {count: 10}", ", cues: [{at: 9s, tone: soft}]", [2, 9, 2]),
    ],
)
def test_what_is_written_has_its_time(calls: str, talk: str, expected: list[int]) -> None:
    length = f"{100 + sum(expected)}s"
    timeline = timeline_of(length, calls=calls, talk=talk)
    assert open_lengths(timeline) == expected
    assert timeline.end.seconds == 100 + sum(expected)
    with pytest.raises(PlanError) as caught:
        timeline_of(f"{99 + sum(expected)}s", calls=calls, talk=talk)
    (fault,) = caught.value.diagnostics
    assert fault.hint is not None
    if expected[1] > 2:
        assert f"talk of 'Main': {expected[1]} s or more for what is called" in fault.hint


WORK = """session: Quay
length: {length}
lead-in: 8s
lead-out: 2s
calls: {{announce: off, finish: off}}
parts:
  - part: Main
    steps: [{{move: Row, {work}}}]
"""


@pytest.mark.parametrize(
    ("work", "least"),
    [
        ("work: 5s..60s, calls: {finish: {count: 20}}", 20),
        ("work: 5s..60s, calls: {finish: {count: 20, by: voice}}", 21),
        ("work: 5s..60s, calls: {finish: {warn: 20s}}", 21),
        ("work: 5s..60s, cues: [{at: 15s, tone: soft}]", 15),
        ("stages: [{slow: 5s..60s, cues: [{at: 15s, tone: soft}]}, {steady: 10s}]", 25),
        ("stages: [{slow: 10s}, {steady: 5s..60s}], cues: [{at: -15s, tone: soft}]", 15),
    ],
)
def test_work_is_as_long_as_what_is_written_in_it(work: str, least: int) -> None:
    assert compiled(parse_plan(WORK.format(length=f"{10 + least}s", work=work))).end.seconds == 10 + least
    with pytest.raises(PlanError, match=r"the session can last"):
        compiled(parse_plan(WORK.format(length=f"{9 + least}s", work=work)))


def test_what_is_built_in_asks_for_nothing() -> None:
    """The usual count of three keeps the numbers that there is time for."""
    text = PLAN.format(length="1:43", calls="", row="", talk="").replace("2s..30s", "1s..30s")
    assert open_lengths(compiled(parse_plan(text))) == [1, 1, 1]


@pytest.mark.parametrize("rest", ["0s..30s", "0s..1s"])
def test_an_open_time_does_not_vanish(rest: str) -> None:
    text = PLAN.format(length="1:45", calls="", row="", talk="").replace("rest: 2s..30s", f"rest: {rest}")
    timeline = compiled(parse_plan(text))
    assert open_lengths(timeline) == [1, 2, 2]
    assert timeline.end.seconds == 105


def test_a_time_that_is_not_there_is_left_out_of_the_choice() -> None:
    """No rest was written after Row, so `flex` gives it none; what follows is chosen all the same."""
    text = PLAN.format(length="2:02", calls="", row="", talk="").replace("rest: 2s..30s", "rest: 0s")
    text = text.replace("  - part: Main\n", "  - part: Main\n    flex: 5s\n")
    timeline = compiled(parse_plan(text))
    assert timeline.end.seconds == 122
    assert open_lengths(timeline) == [11, 11]
    assert all(phase.kind != "rest" or phase.part is None for phase in timeline.phases)
