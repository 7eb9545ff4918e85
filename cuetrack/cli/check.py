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
from cuetrack.cli.progress import progress_bar
from cuetrack.timebase import Duration, clock_text
from cuetrack.timeline.totals import Totals


@click.command()
@plan_argument
@level_option
@click.option("--voice", "with_voice", is_flag=True, help="Measure real speech and show the tightest fits.")
@json_option
def check(plan: Path, level: str | None, with_voice: bool, as_json: bool) -> None:
    """Find every mistake in PLAN and show its totals.

    Unless you say --voice, no speech is made and its length is estimated: what might not fit is a
    warning.

    \b
    Example:
      cuetrack check session.yaml
    """
    with errors_as_json(as_json), progress_bar() as progress:
        checked = build.check(plan, level=level, with_voice=with_voice, progress=progress)
    if as_json:
        print_json(_values(checked))
        return
    _print_totals(checked)
    for fit in checked.tightest:
        spare, lasts = float(fit.spare_seconds), float(fit.seconds)
        click.echo(f"{clock_text(fit.start, 1)}  {spare:.1f} s to spare after {lasts:.1f} s: “{fit.text}”")
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
        "tightest_fits": [
            {
                "text": fit.text,
                "start_seconds": float(fit.start.seconds),
                "seconds": float(fit.seconds),
                "spare_seconds": float(fit.spare_seconds),
            }
            for fit in checked.tightest
        ],
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
