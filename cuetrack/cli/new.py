"""`cuetrack new`: a commented plan to begin with."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import click

from cuetrack.errors import UsageError
from cuetrack.writers.atomic import atomic_files


@click.command(short_help="Write a commented starter plan.")
@click.argument("plan", type=click.Path(path_type=Path), default=Path("session.yaml"))
def new(plan: Path) -> None:
    """Write a commented starter plan to PLAN (session.yaml if not given).

    \b
    Example:
      cuetrack new monday.yaml
    """
    text = files("cuetrack.cli").joinpath("starter.yaml").read_text(encoding="utf-8")
    if plan.exists():
        raise UsageError(f"{plan} is there already; choose another name")
    with atomic_files(plan) as (temporary,):
        temporary.write_text(text, encoding="utf-8")
    click.echo(f"{plan} written. Next: cuetrack check {plan}")
