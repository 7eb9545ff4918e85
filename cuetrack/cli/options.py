"""Options and arguments that several commands share."""

from __future__ import annotations

from pathlib import Path

import click

plan_argument = click.argument("plan", type=click.Path(path_type=Path))
json_option = click.option("as_json", "--json", is_flag=True, help="Print the answer as JSON.")
level_option = click.option(
    "--level",
    type=click.Choice(["easier", "standard", "harder"]),
    help="Announce this version of each move; the plan's own if not given.",
)
allow_outside_option = click.option(
    "--allow-outside",
    is_flag=True,
    help="Let the plan use files that lie outside its folder. Only for plans you trust.",
)
