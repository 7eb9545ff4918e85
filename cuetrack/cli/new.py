"""`cuetrack new`: a commented plan to begin with."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import click

from cuetrack.errors import UsageError, WriteError


@click.command(short_help="Write a commented starter plan.")
@click.argument("plan", type=click.Path(path_type=Path), default=Path("session.yaml"))
def new(plan: Path) -> None:
    """Write a commented starter plan to PLAN (session.yaml if not given).

    \b
    Example:
      cuetrack new monday.yaml
    """
    text = files("cuetrack.cli").joinpath("starter.yaml").read_text(encoding="utf-8")
    try:
        with plan.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UsageError(f"{plan} is there already; choose another name") from None
    except OSError as error:
        raise WriteError(f"{plan} cannot be written: {error.strerror}") from None
    click.echo(f"{plan} written. Next: cuetrack check {plan}")
