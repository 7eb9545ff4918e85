"""What the commands print: tables for people, JSON for programs, diagnostics for both."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from math import isfinite
from typing import TYPE_CHECKING, Any

import click

from cuetrack.errors import CuetrackError, Diagnostic, MachineError, PlanError
from cuetrack.review.finding import NO_ADVICE, Finding
from cuetrack.timebase import Duration, Instant, clock_text

if TYPE_CHECKING:
    from rich.table import Table

_PIPED_WIDTH = 110


def print_json(value: Any) -> None:
    """`value` as one JSON document on standard output."""
    click.echo(json.dumps(value, ensure_ascii=False, indent=1))


@contextmanager
def errors_as_json(wanted: bool) -> Iterator[None]:
    """Where JSON is wanted, an error is said on standard output too, as JSON; it goes on from here."""
    try:
        yield
    except BrokenPipeError:  # whoever reads has had enough
        raise
    except (CuetrackError, OSError, MemoryError) as found:
        error = found if isinstance(found, CuetrackError) else MachineError(found)
        if wanted:
            said = error.diagnostics if isinstance(error, PlanError) else (Diagnostic("error", str(error)),)
            print_json({"passed": False, "diagnostics": diagnostic_values(said)})
        raise error from None


def print_diagnostics(diagnostics: Iterable[Diagnostic]) -> None:
    """Each finding on standard error, coloured where a person reads it."""
    for diagnostic in diagnostics:
        colour = "red" if diagnostic.severity == "error" else "yellow"
        text = str(diagnostic)
        head = f"{diagnostic.severity}:"
        click.echo(text.replace(head, click.style(head, fg=colour, bold=True), 1), err=True)


def diagnostic_values(diagnostics: Iterable[Diagnostic]) -> list[dict[str, Any]]:
    """Findings as plain values for JSON."""
    return [
        {
            "severity": found.severity,
            "message": found.message,
            "file": found.place.file if found.place else None,
            "line": found.place.line if found.place else None,
            "column": found.place.column if found.place else None,
            "hint": found.hint,
        }
        for found in diagnostics
    ]


def print_findings(findings: Sequence[Finding]) -> None:
    """Suggestions with their sources, what is accepted, and that none of it is medical advice."""
    click.echo()
    if all(finding.accepted is not None for finding in findings):
        click.echo("nothing to suggest")
    for finding in findings:
        if finding.accepted is not None:
            continue
        where = f"{finding.place}: " if finding.place else ""
        click.echo(f"{where}{click.style(finding.name, bold=True)}: {finding.message}")
        guessed = " (guessed from names)" if finding.guessed else ""
        click.echo(f"    {finding.suggestion}{guessed}")
        click.echo(f"    source: {finding.source}")
    for name, reason in {f.name: f.accepted for f in findings if f.accepted is not None}.items():
        click.echo(f"accepted: {name} ({reason})")
    click.echo(f"\n{NO_ADVICE}")


def finding_values(finding: Finding) -> dict[str, Any]:
    """A suggestion as plain values for JSON."""
    return {
        "name": finding.name,
        "message": finding.message,
        "suggestion": finding.suggestion,
        "source": finding.source,
        "guessed": finding.guessed,
        "accepted": finding.accepted,
        "file": finding.place.file if finding.place else None,
        "line": finding.place.line if finding.place else None,
        "column": finding.place.column if finding.place else None,
    }


def print_table(table: Table) -> None:
    """A table, as wide as the terminal; in a pipe or a file wide enough, without blanks at line ends."""
    from rich.console import Console

    if sys.stdout.isatty():
        Console(highlight=False).print(table)
        return
    console = Console(width=_PIPED_WIDTH, highlight=False)
    with console.capture() as capture:
        console.print(table)
    click.echo("\n".join(line.rstrip() for line in capture.get().splitlines()))


def length_text(length: Duration) -> str:
    """A length as a clock reading; empty for none."""
    if not length:
        return ""
    decimals = 0 if length.seconds.denominator == 1 else 1
    return clock_text(Instant(length.seconds), decimals)


def loudness_text(loudness_lufs: float) -> str:
    """A loudness as people read it; silence has none."""
    return f"{loudness_lufs:.1f} LUFS" if isfinite(loudness_lufs) else "silent"
