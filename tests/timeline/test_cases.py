"""Each plan in tests/cases/timelines gives the timeline that stands beside it.

The texts were checked by hand against the rules before they were kept: exact seconds, one rule a plan.
`python -m tests.timeline.rebuild_cases` writes them anew.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.plan.text import read_plan
from cuetrack.timeline.compile import compiled
from tests.helpers.timeline_text import timeline_as_text
from tests.timeline.rebuild_cases import CASES

PLANS = sorted(CASES.glob("*.yaml"))


def test_there_are_cases_and_no_expected_text_without_a_plan() -> None:
    assert len(PLANS) >= 25
    assert sorted(CASES.glob("*.txt")) == [plan.with_suffix(".txt") for plan in PLANS]


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_plan_gives_its_timeline(plan: Path) -> None:
    expected = plan.with_suffix(".txt").read_text(encoding="utf-8")
    assert timeline_as_text(compiled(read_plan(plan))) == expected
