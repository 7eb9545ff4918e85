"""Writes the expected timeline beside every plan in tests/cases/timelines; read the difference first.

Run as `python -m tests.timeline.rebuild_cases` from the root of the repository.
"""

from __future__ import annotations

from pathlib import Path

from cuetrack.plan.text import read_plan
from cuetrack.timeline.compile import compiled
from tests.helpers.timeline_text import timeline_as_text

CASES = Path(__file__).parents[1] / "cases" / "timelines"


def main() -> None:
    for plan in sorted(CASES.glob("*.yaml")):
        plan.with_suffix(".txt").write_text(timeline_as_text(compiled(read_plan(plan))), encoding="utf-8")


if __name__ == "__main__":
    main()
