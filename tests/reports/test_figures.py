"""The one report of all figures says what the reports say that are kept."""

from __future__ import annotations

from tests.reports.figures import PARTS, REPORT, ROOT, collected


def test_all_that_is_kept_is_collected() -> None:
    assert REPORT.read_text(encoding="utf-8") == "\n".join(collected()) + "\n"


def test_every_report_that_is_kept_is_one_of_them() -> None:
    kept = {
        path.relative_to(ROOT)
        for folder in ("benchmarks", "reports", "fuzz")
        for path in (ROOT / "tests" / folder).glob("*.txt")
    }
    assert kept == {part.kept for part in PARTS} | {REPORT.relative_to(ROOT)}
