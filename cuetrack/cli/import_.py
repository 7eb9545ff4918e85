"""`cuetrack import`: a plan from the table a coach keeps."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build_tables
from cuetrack.cli.options import json_option, links_out_option
from cuetrack.cli.output import diagnostic_values, errors_as_json, print_diagnostics, print_json


@click.command("import", short_help="Make a plan from a table (CSV, XLSX).")
@click.argument("table", type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", "plan", type=click.Path(path_type=Path), required=True, help="The plan to write."
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="KEY=HEADING",
    help="Which column holds what, where its heading does not say; may be repeated.",
)
@click.option(
    "--sheet", metavar="NAME", help="The sheet of an XLSX file; the first that holds anything if not given."
)
@click.option("--replace", is_flag=True, help="Replace the plan if it is there.")
@links_out_option
@json_option
def import_(
    table: Path,
    plan: Path,
    columns: tuple[str, ...],
    sheet: str | None,
    replace: bool,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Turn TABLE, a CSV or XLSX file with a row for each move, into a plan.

    Columns are found by their headings (English, German, Spanish, French): part, rounds, move, work, rest,
    sides, setup, equipment and every other key of a plan. A unit in a heading, `rest (s)`, is that of bare
    numbers below it. Every row that cannot be read is reported, and then nothing is written.

    \b
    Example:
      cuetrack import monday.csv -o monday.yaml
      cuetrack import class.xlsx -o class.yaml --column "work (s)=On" --column "rest (s)=Off"
    """
    with errors_as_json(as_json):
        moved = build_tables.import_table(
            table, plan, columns=columns, sheet=sheet, replace=replace, allow_outside=allow_outside
        )
    if as_json:
        parts, moves, others = moved.counts()
        counts = {"parts": parts, "moves": moves, "other_steps": others}
        print_json(
            {"passed": True, "plan": str(plan), **counts, "diagnostics": diagnostic_values(moved.warnings)}
        )
        return
    parts, moves, others = moved.counts()
    told = [
        _number(parts, "part"),
        _number(moves, "move"),
        _number(others, "rest and talk", "rests and talks"),
    ]
    click.echo(f"{plan} written: {', '.join(told)}. Next: cuetrack check {plan}")
    print_diagnostics(moved.warnings)


def _number(count: int, one: str, many: str | None = None) -> str:
    return f"{count} {one if count == 1 else many or one + 's'}"
