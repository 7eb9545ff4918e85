"""Writes what is said about every plan in tests/cases/broken beside it; read the difference first.

Run as `python -m tests.plan.rebuild_cases` from the root of the repository.
"""

from __future__ import annotations

from contextlib import chdir
from pathlib import Path

from cuetrack.errors import PlanError
from cuetrack.plan.text import read_plan
from cuetrack.timeline.compile import compiled

CASES = Path(__file__).parents[1] / "cases" / "broken"


def said_about(plan: Path) -> str:
    """All that the reader and the compiler find wrong in `plan`, under its bare name."""
    with chdir(plan.parent):
        try:
            compiled(read_plan(Path(plan.name)))
        except PlanError as error:
            return f"{error}\n"
    raise AssertionError(f"nothing is wrong with {plan.name}")


def main() -> None:
    for plan in sorted(CASES.glob("*.yaml")):
        plan.with_suffix(".txt").write_text(said_about(plan), encoding="utf-8")


if __name__ == "__main__":
    main()
