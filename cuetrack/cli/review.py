"""`cuetrack review`: what an experienced colleague would ask about a plan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from cuetrack import build_review
from cuetrack.cli.options import (
    allow_outside_option,
    day_option,
    json_option,
    level_option,
    plan_and_day,
    plan_argument,
)
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    finding_values,
    length_text,
    print_diagnostics,
    print_findings,
    print_json,
    print_table,
)
from cuetrack.review.energy import COMPENDIUM, USUAL_WEIGHT_KG, Energy
from cuetrack.review.finding import NO_ADVICE, ratio_text
from cuetrack.review.review import Review, WorkTime
from cuetrack.timeline.totals import Totals


@click.command(short_help="Look at a plan as an experienced colleague would.")
@plan_argument
@level_option
@click.option(
    "--weight",
    "weight_kg",
    type=click.IntRange(20, 300),
    default=USUAL_WEIGHT_KG,
    show_default=True,
    metavar="KG",
    help="The body weight for which the energy is estimated, in whole kilograms.",
)
@day_option
@allow_outside_option
@json_option
def review(
    plan: Path, level: str | None, weight_kg: int, called: str | None, allow_outside: bool, as_json: bool
) -> None:
    """Look at PLAN as an experienced colleague would: balance, rests, holds, order, energy.

    Each finding is a suggestion with its source. A plan keeps what it means to keep with a reason:
    `accepted: {warm-up: warmed up outside}`. None of this is medical advice.

    \b
    Example:
      cuetrack review session.yaml
    """
    with errors_as_json(as_json):
        file, day = plan_and_day(plan, called, allow_outside)
        done = build_review.review(
            file, level=level, weight_kg=weight_kg, day=day, allow_outside=allow_outside
        )
    if as_json:
        print_json({**_values(done.review), "diagnostics": diagnostic_values(done.warnings)})
        return
    _print_totals(done.review)
    _print_work(done.review)
    _print_energy(done.review.energy)
    print_findings(done.review.findings)
    print_diagnostics(done.warnings)


def _print_totals(found: Review) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(found.session), title_justify="left", box=None, pad_edge=False)
    table.add_column("part")
    for heading in ("length", "work", "rest", "talk", "work:rest"):
        table.add_column(heading, justify="right")
    rows = [(part.name, part, "") for part in found.parts]
    for name, totals, style in (*rows, ("whole session", found.whole, "bold")):
        lengths = (totals.length, totals.work, totals.rest, totals.talk)
        ratio = ratio_text(totals.work, totals.rest)
        table.add_row(Text(name), *(length_text(length) for length in lengths), ratio, style=style)
    print_table(table)


def _print_work(found: Review) -> None:
    """The work by region, pattern, word of the plan's own, and by move; what was guessed."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    table.add_column("work by")
    for heading in ("turns", "work", "left", "right"):
        table.add_column(heading, justify="right")
    groups = (("region", found.regions), ("pattern", found.patterns), ("own tag", found.own))
    for title, times in (*groups, ("move", found.moves)):
        if times:
            table.add_row(title, style="bold")
        for time in times:
            lengths = (length_text(length) for length in (time.work, time.left, time.right))
            table.add_row(Text(f"  {time.name}"), str(time.turns), *lengths)
    click.echo()
    print_table(table)
    if found.guessed:
        click.echo("\nguessed from names (`tags: [legs, squat]` on a move says it):")
        click.echo(f"  {_listed(found.guessed)}")
    if found.unknown:
        click.echo(f"no region known: {_listed(found.unknown)}")


def _listed(names: Sequence[str], most: int = 6) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _print_energy(energy: Energy) -> None:
    click.echo(
        f"\nenergy: about {energy.kcal:.0f} kcal at {energy.weight_kg:g} kg, use at rest included "
        f"(MET · 3.5 · kg / 200 a minute; {energy.kcal_by_hours:.0f} by MET · kg · h);\n"
        "people differ a lot, and the activities are guessed from names and tags"
    )
    for time in energy.activities:
        row = time.activity
        click.echo(f"  {length_text(time.length):>7}  {row.met:4.1f} MET  {row.name} ({row.code})")
    click.echo(f"  source: {COMPENDIUM}")


def _values(found: Review) -> dict[str, object]:
    energy = found.energy
    return {
        "passed": True,
        "session": found.session,
        **_total_values(found.whole),
        "parts": [{"part": part.name, **_total_values(part)} for part in found.parts],
        "regions": _work_values(found.regions),
        "patterns": _work_values(found.patterns),
        "own_tags": _work_values(found.own),
        "moves": _work_values(found.moves),
        "guessed": list(found.guessed),
        "unknown": list(found.unknown),
        "energy": {
            "weight_kg": energy.weight_kg,
            "kcal": round(energy.kcal, 1),
            "kcal_by_hours": round(energy.kcal_by_hours, 1),
            "formula": "MET * 3.5 * kg / 200 kcal a minute; by hours MET * kg * h",
            "source": COMPENDIUM,
            "activities": [
                {
                    "code": time.activity.code,
                    "name": time.activity.name,
                    "met": time.activity.met,
                    "seconds": float(time.length.seconds),
                }
                for time in energy.activities
            ],
        },
        "findings": [finding_values(finding) for finding in found.findings],
        "note": NO_ADVICE,
    }


def _total_values(totals: Totals) -> dict[str, float | None]:
    work, rest = float(totals.work.seconds), float(totals.rest.seconds)
    return {
        "length_seconds": float(totals.length.seconds),
        "work_seconds": work,
        "rest_seconds": rest,
        "talk_seconds": float(totals.talk.seconds),
        "rest_per_work": round(rest / work, 3) if work else None,
    }


def _work_values(times: Sequence[WorkTime]) -> list[dict[str, object]]:
    return [
        {
            "name": time.name,
            "turns": time.turns,
            "work_seconds": float(time.work.seconds),
            "left_seconds": float(time.left.seconds),
            "right_seconds": float(time.right.seconds),
        }
        for time in times
    ]
