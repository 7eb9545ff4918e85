"""`cuetrack sheet`: the session on paper, for the wall or the floor."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuetrack import build_sheet
from cuetrack.cli.options import (
    allow_outside_option,
    day_option,
    json_option,
    level_option,
    plan_and_day,
    plan_argument,
)
from cuetrack.cli.output import diagnostic_values, errors_as_json, print_diagnostics, print_json
from cuetrack.plan.series import name_on_day

if TYPE_CHECKING:
    from cuetrack.writers.sheet import Paper


@click.command(short_help="Print a plan as a cue sheet.")
@plan_argument
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The file to write; its ending (.pdf .html .csv) picks the kind. NAME.sheet.pdf if not given.",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="What it fits on."
)
@level_option
@day_option
@allow_outside_option
@json_option
def sheet(
    plan: Path,
    output: Path | None,
    paper: Paper,
    level: str | None,
    called: str | None,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Print PLAN as a cue sheet: clock, move, seconds, sides, setup, equipment, options, notes.

    A session of half an hour fits one page. No voice is needed.

    \b
    Example:
      cuetrack sheet session.yaml -o session.pdf
    """
    with errors_as_json(as_json):
        file, day = plan_and_day(plan, called, allow_outside)
        target = output or plan.with_name(f"{name_on_day(plan, day)}.sheet.pdf")
        warnings = build_sheet.write_sheet(
            file,
            target,
            paper=paper,
            level=level,
            day=day,
            allow_outside=allow_outside,
            home=plan.parent,
        )
    if as_json:
        print_json({"passed": True, "file": str(target), "diagnostics": diagnostic_values(warnings)})
        return
    print_diagnostics(warnings)
    click.echo(target)
