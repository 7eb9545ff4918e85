"""`cuetrack schema`: the JSON Schema of plans, house styles and series, for editors."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from cuetrack.cli.output import print_json
from cuetrack.plan.house import House
from cuetrack.plan.schema import schema_of
from cuetrack.plan.series import Series
from cuetrack.plan.text import plan_schema

SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "plan": plan_schema,
    "house": lambda: schema_of(House, "House style"),
    "series": lambda: schema_of(Series, "Series of sessions"),
}


@click.command(short_help="Print the JSON Schema of plans, for editors.")
@click.option(
    "--of",
    "document",
    type=click.Choice(list(SCHEMAS)),
    default="plan",
    show_default=True,
    help="Of plans, of house.yaml, or of series.",
)
def schema(document: str) -> None:
    """Print the JSON Schema of plans, so that an editor completes and checks while you type.

    \b
    Example:
      cuetrack schema > plan.schema.json
      cuetrack schema --of house > house.schema.json
    """
    print_json(SCHEMAS[document]())
