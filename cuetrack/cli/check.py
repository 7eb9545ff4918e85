"""`cuetrack check`: what a plan comes to and everything wrong with it, without making a sound."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build
from cuetrack.cli.options import json_option, level_option, plan_argument
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    length_text,
    print_diagnostics,
    print_json,
    print_table,
)
from cuetrack.timebase import Duration
from cuetrack.timeline.totals import Totals


@click.command()
@plan_argument
@level_option
@json_option
def check(plan: Path, level: str | None, as_json: bool) -> None:
    """Find every mistake in PLAN and show its totals.

    Speech is not made here, its length is estimated: what might not fit is a warning, and `render`
    measures it.

    \b
    Example:
      cuetrack check session.yaml
    """
    with errors_as_json(as_json):
        checked = build.check(plan, level=level)
    if as_json:
        print_json(_values(checked))
        return
    _print_totals(checked)
    print_diagnostics(checked.warnings)


def _print_totals(checked: build.Checked) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(checked.session), title_justify="left", box=None, pad_edge=False)
    table.add_column("part")
    for heading in ("length", "work", "rest", "talk"):
        table.add_column(heading, justify="right")
    rows = [(part.name, part, "") for part in checked.parts]
    for name, totals, style in (*rows, ("whole session", checked.whole, "bold")):
        lengths = (totals.length, totals.work, totals.rest, totals.talk)
        table.add_row(Text(name), *(length_text(length) for length in lengths), style=style)
    print_table(table)


def _values(checked: build.Checked) -> dict[str, object]:
    return {
        "passed": True,
        "session": checked.session,
        **_seconds(checked.whole),
        "parts": [{"part": part.name, **_seconds(part)} for part in checked.parts],
        "diagnostics": diagnostic_values(checked.warnings),
    }


def _seconds(totals: Totals) -> dict[str, float]:
    lengths: dict[str, Duration] = {
        "length_seconds": totals.length,
        "work_seconds": totals.work,
        "rest_seconds": totals.rest,
        "talk_seconds": totals.talk,
    }
    return {key: float(length.seconds) for key, length in lengths.items()}
