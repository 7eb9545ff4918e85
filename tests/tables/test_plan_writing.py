"""Sessions written as a coach would write them."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from cuetrack.errors import TidyError
from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan
from cuetrack.tables import plan_writing
from cuetrack.tables.plan_writing import tidy_plan_text
from cuetrack.tables.tidy import tidied_text
from tests.plan.test_round_trip import plans

# Such plans are large, and making one smaller takes minutes.
NO_SHRINKING, CHECKS = (Phase.generate,), list(HealthCheck)

WRITTEN = """\
# Made by hand
# on the quay.
session: "Quay: one"
loudness: -16 LUFS
calls: {start: {count: 3, by: tones}, halfway: on}
parts:
  - part: Main
    flex: 5 s
    stages: [{slow: 20 s, notes: Low.}, {3: 10 s}, {stage: work, work: 5 s}]
    steps:
      - move: Row
        easier: {say: Sit down., stages: [{slow: 20 s}]}
        sides: both
        tempo: 3-1-2-0
        every: 144/17 s
      - move: Press
        work: 30 s
        sides: [right, left]
        tempo: {beat: 60 bpm, count: on}
        cues:
          - at: 5 s
            say: Shoulders down, keep breathing, look out over the water.
            tone: soft
          - {at: 50%, say: "Half: the bank is near."}
      - talk: 20 s
        notes: |
          Water.
          Thanks.
"""


def test_short_forms_and_braces_where_they_fit() -> None:
    session = parse_plan(WRITTEN)
    assert tidy_plan_text(session, ("Made by hand", "on the\nquay.")) == WRITTEN
    assert tidied_text(WRITTEN) == WRITTEN


@pytest.mark.parametrize(
    "text", ["one\n\ttwo", "one \ntwo", "one\n two", "a\r\nb", "# a\n---\n", "''\n\n\n'"]
)
def test_notes_of_several_lines_are_a_block_or_in_quotes(text: str) -> None:
    values = {"session": "Quay", "notes": text, "parts": [{"part": "Main", "steps": [{"talk": "5s"}]}]}
    session = Session.model_validate(values)
    assert parse_plan(tidy_plan_text(session)) == session


@settings(
    deadline=None,
    database=None,
    max_examples=10,
    phases=(Phase.generate,),
    suppress_health_check=list(HealthCheck),
)
@given(plans)
def test_any_session_is_written_so_that_it_is_read_the_same(plan: dict[str, Any]) -> None:
    session = Session.model_validate(plan)
    text = tidy_plan_text(session, ("one\ntwo",))
    assert parse_plan(text) == session
    assert text.startswith("# one two\n")


def test_a_session_too_large_for_a_plan_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan_writing, "MAX_SOURCE_BYTES", 1024)
    with pytest.raises(TidyError, match="larger than 1 KiB; split the session"):
        tidy_plan_text(parse_plan(WRITTEN.replace("Water.", "W" * 1000)))
