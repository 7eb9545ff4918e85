"""Options and arguments that several commands share."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build_series
from cuetrack.plan.series import Day

plan_argument = click.argument("plan", type=click.Path(path_type=Path))
json_option = click.option("as_json", "--json", is_flag=True, help="Print the answer as JSON.")
level_option = click.option(
    "--level",
    type=click.Choice(["easier", "standard", "harder"]),
    help="Announce this version of each move; the plan's own if not given.",
)
day_option = click.option(
    "called",
    "--day",
    metavar="DAY",
    help="PLAN is a series: take the session of this day, a number or a date such as 2026-11-30.",
)
allow_outside_option = click.option(
    "--allow-outside",
    is_flag=True,
    help="Let the plan use files outside its folder, and links lead there. Only for plans you trust.",
)
links_out_option = click.option(
    "--allow-outside",
    is_flag=True,
    help="Write through a link that leads out of the folder of what is read. Only where you trust it.",
)


def plan_and_day(plan: Path, called: str | None, allow_outside: bool) -> tuple[Path, Day | None]:
    """The plan to be read, and its day if `plan` is a series of which one is called."""
    if called is None:
        return plan, None
    return build_series.plan_of_day(plan, called, allow_outside=allow_outside)
