"""`cuetrack export`: a plan as a table for a spreadsheet."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build_tables
from cuetrack.cli.options import json_option, links_out_option, plan_argument
from cuetrack.cli.output import diagnostic_values, errors_as_json, print_diagnostics, print_json


@click.command(short_help="Write a plan as a table (CSV, XLSX).")
@plan_argument
@click.option(
    "-o",
    "--output",
    "table",
    type=click.Path(path_type=Path),
    required=True,
    help="The table to write; its ending, .csv or .xlsx, picks the format.",
)
@click.option("--replace", is_flag=True, help="Replace the table if it is there.")
@links_out_option
@json_option
def export(plan: Path, table: Path, replace: bool, allow_outside: bool, as_json: bool) -> None:
    """Write PLAN as a table: a row for the session, each part, and each move, rest and talk.

    `cuetrack import` makes an equal session of it. What a table cannot hold is told.

    \b
    Example:
      cuetrack export session.yaml -o session.xlsx
    """
    with errors_as_json(as_json):
        moved = build_tables.export_plan(plan, table, replace=replace, allow_outside=allow_outside)
    if as_json:
        print_json({"passed": True, "table": str(table), "diagnostics": diagnostic_values(moved.warnings)})
        return
    click.echo(f"{table} written. Back to a plan: cuetrack import {table} -o NAME.yaml")
    print_diagnostics(moved.warnings)
