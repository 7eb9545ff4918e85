"""`cuetrack schema`: the JSON Schema of the plan language, for editors."""

from __future__ import annotations

import click

from cuetrack.cli.output import print_json
from cuetrack.plan.text import plan_schema


@click.command(short_help="Print the JSON Schema of plans, for editors.")
def schema() -> None:
    """Print the JSON Schema of plans, so that an editor completes and checks while you type.

    \b
    Example:
      cuetrack schema > plan.schema.json
    """
    print_json(plan_schema())
