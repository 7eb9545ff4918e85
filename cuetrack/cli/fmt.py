"""`cuetrack fmt`: a plan in its one tidy form."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build_tables
from cuetrack.cli.options import links_out_option, plan_argument
from cuetrack.errors import ExitCode


@click.command(short_help="Write a plan in one tidy form, comments kept.")
@plan_argument
@click.option(
    "--check", "only_check", is_flag=True, help="Write nothing; exit code 1 if the plan is not tidy."
)
@links_out_option
def fmt(plan: Path, only_check: bool, allow_outside: bool) -> int:
    """Write PLAN, a house style or a series in one tidy form: indents, blank lines, comments lined up.

    Braces that are too long for a line become lines. What it means, the order of keys and every comment stay.

    \b
    Example:
      cuetrack fmt session.yaml
    """
    changed = build_tables.tidy_plan(plan, only_check=only_check, allow_outside=allow_outside)
    if only_check:
        click.echo(f"{plan} is not tidy; run: cuetrack fmt {plan}" if changed else f"{plan} is tidy.")
        return ExitCode.ERRORS if changed else ExitCode.DONE
    click.echo(f"{plan} written in the tidy form." if changed else f"{plan} was tidy already.")
    return ExitCode.DONE
