"""`cuetrack series`: what the dated sessions of a series come to, day by day and week by week."""

from __future__ import annotations

from itertools import zip_longest
from math import isfinite
from pathlib import Path

import click

from cuetrack import build_series
from cuetrack.cli.options import allow_outside_option, json_option
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    finding_values,
    length_text,
    print_diagnostics,
    print_findings,
    print_json,
    print_table,
)
from cuetrack.review.finding import NO_ADVICE
from cuetrack.review.series import SeriesReview, Week


@click.command(short_help="Check all sessions of a series, week by week.")
@click.argument("series", type=click.Path(path_type=Path))
@allow_outside_option
@json_option
def series(series: Path, allow_outside: bool, as_json: bool) -> None:
    """Check all sessions of SERIES, and look at them together as an experienced colleague would.

    SERIES is a file of dated sessions, each naming a plan beside it. Each finding is a suggestion with its
    source; the series keeps what it means to keep with a reason: `accepted: {progression: a holiday}`.
    `check`, `timeline` and `render` take one of its days: `cuetrack render winter.yaml --day 3`.

    \b
    Example:
      cuetrack series winter.yaml
    """
    with errors_as_json(as_json):
        checked = build_series.check_series(series, allow_outside=allow_outside)
    if as_json:
        print_json({**_values(checked.review), "diagnostics": diagnostic_values(checked.warnings)})
        return
    _print_days(checked.review)
    _print_weeks(checked.review)
    print_findings(checked.review.findings)
    print_diagnostics(checked.warnings)


def _print_days(found: SeriesReview) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(found.series), title_justify="left", box=None, pad_edge=False)
    table.add_column("day", justify="right")
    for heading in ("date", "plan", "session", "level"):
        table.add_column(heading)
    for heading in ("length", "work"):
        table.add_column(heading, justify="right")
    table.add_column("regions")
    for load in found.days:
        entry = load.day.entry
        table.add_row(
            str(load.day.number),
            str(load.date),
            Text(entry.plan),
            Text(load.session),
            entry.level or "",
            length_text(load.length),
            length_text(load.work),
            ", ".join(load.regions),
        )
    print_table(table)


def _print_weeks(found: SeriesReview) -> None:
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    table.add_column("week", justify="right")
    table.add_column("from")
    table.add_column("to")
    for heading in ("sessions", "length", "work", "change", "monotony"):
        table.add_column(heading, justify="right")
    for week, before in zip_longest(found.weeks, (None, *found.weeks[:-1])):
        table.add_row(
            str(week.number),
            str(week.first),
            str(week.last),
            str(len(week.days)),
            length_text(week.length),
            length_text(week.work),
            _change_text(before, week),
            "" if week.monotony is None else f"{week.monotony:.1f}",
        )
    click.echo()
    print_table(table)


def _change_text(before: Week | None, week: Week) -> str:
    """How much more work than in the week before; empty where there is none to compare."""
    if before is None or not before.work or not week.work:
        return ""
    return f"{float(week.work.seconds / before.work.seconds - 1):+.0%}"


def _values(found: SeriesReview) -> dict[str, object]:
    return {
        "passed": True,
        "series": found.series,
        "days": [
            {
                "day": load.day.number,
                "date": str(load.date),
                "plan": load.day.entry.plan,
                "session": load.session,
                "level": load.day.entry.level,
                "length_seconds": float(load.length.seconds),
                "work_seconds": float(load.work.seconds),
                "regions": {region: float(work.seconds) for region, work in load.regions.items()},
            }
            for load in found.days
        ],
        "weeks": [
            {
                "week": week.number,
                "first": str(week.first),
                "last": str(week.last),
                "sessions": len(week.days),
                "length_seconds": float(week.length.seconds),
                "work_seconds": float(week.work.seconds),
                "monotony": round(week.monotony, 3) if week.monotony and isfinite(week.monotony) else None,
            }
            for week in found.weeks
        ],
        "findings": [finding_values(finding) for finding in found.findings],
        "note": NO_ADVICE,
    }
