"""`cuetrack batch`: every track of a folder of plans or of a series, each made once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import get_args

import click

from cuetrack.build_batch import Asked, Batch, Outcome, Planned, Tell
from cuetrack.build_papers import PAPER_NAMES, chosen_papers
from cuetrack.cli.options import (
    allow_outside_option,
    channels_option,
    json_option,
    mixes_option,
    named,
    quality_option,
    rate_option,
    several,
)
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    print_diagnostics,
    print_json,
    print_table,
)
from cuetrack.cli.progress import progress_bar
from cuetrack.cores import usable_cores
from cuetrack.errors import Diagnostic, ExitCode
from cuetrack.plan.fields import Level
from cuetrack.timebase import Instant, clock_text
from cuetrack.timeline.mixes import MIX_NAMES
from cuetrack.writers.formats import AUDIO_FORMATS, Quality

_LEVELS: tuple[Level, ...] = get_args(Level)
_USUAL_FOLDER = "tracks"


@click.command(short_help="Render every plan in a folder, or all of a series.")
@click.argument("place", metavar="FOLDER-OR-SERIES", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The folder for the tracks, made if need be; `tracks` beside the plans if not given.",
)
@click.option(
    "levels",
    "--level",
    type=click.Choice([*_LEVELS, "all"]),
    multiple=True,
    help="This version of each move; say it twice, or all, for several. Each plan's own if not given.",
)
@mixes_option
@click.option(
    "voices",
    "--voice",
    metavar="NAME",
    multiple=True,
    help="Speak with this voice instead of each plan's. Of several, a plan is spoken by those that speak its "
    "language.",
)
@click.option(
    "formats",
    "--format",
    type=click.Choice([ending[1:] for ending in AUDIO_FORMATS]),
    multiple=True,
    default=("wav",),
    show_default=True,
    help="The kind of sound file; of several, each has a folder of its own.",
)
@quality_option
@rate_option
@channels_option
@click.option(
    "with_papers",
    "--with",
    metavar="NAMES",
    help=f"Write these beside each track, too: {', '.join(PAPER_NAMES)}; comma between.",
)
@click.option("--changed", is_flag=True, help="Leave tracks that are as they would be made now.")
@click.option(
    "--dry-run",
    is_flag=True,
    help="Say what would be made, why, and which plans have mistakes; write nothing.",
)
@click.option(
    "--processes",
    type=click.IntRange(1, 256),
    metavar="NUMBER",
    help="How many tracks to make at a time; as many as this machine has cores if not given.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Share the tracks out to the workers of a Dask scheduler, which see the same folders under the same "
    "names: tcp://192.0.2.7:8786.",
)
@click.option(
    "cache_folder",
    "--speech-cache",
    metavar="DIRECTORY",
    type=click.Path(path_type=Path),
    help="Where all processes keep spoken phrases, such as a folder that all machines see; each machine's "
    "own if not given.",
)
@allow_outside_option
@json_option
def batch(
    place: Path,
    output: Path | None,
    levels: tuple[str, ...],
    mixes: tuple[str, ...],
    voices: tuple[str, ...],
    formats: tuple[str, ...],
    quality: Quality,
    rate_hz: int,
    channels: int,
    with_papers: str | None,
    changed: bool,
    dry_run: bool,
    processes: int | None,
    cluster: str | None,
    cache_folder: Path | None,
    allow_outside: bool,
    as_json: bool,
) -> int:
    """Render all plans in a folder and below it, all days of a series, or one plan.

    A bad plan stops no other; what is wrong with it is told at the end. A run that was interrupted goes on
    where it stopped when it is called again in the same words. `cuetrack-batch.jsonl` beside the tracks says
    what they were made from.

    \b
    Example:
      cuetrack batch plans -o tracks --level all --mix all --format mp3
      cuetrack batch plans -o tracks --changed
      cuetrack batch winter.yaml --dry-run
    """
    with errors_as_json(as_json):
        papers = named(with_papers, PAPER_NAMES)
        chosen_papers(papers)
        asked = Asked(
            levels=several(levels, _LEVELS),
            mixes=several(mixes, MIX_NAMES),
            voices=tuple(dict.fromkeys(voices)),
            endings=tuple(dict.fromkeys(f".{name}" for name in formats)),
            quality=quality,
            rate_hz=rate_hz,
            channels=channels,
            papers=papers,
            allow_outside=allow_outside,
        )
        folder = output or (place if place.is_dir() else place.parent) / _USUAL_FOLDER
        whole = Batch(place, folder, asked)
        if dry_run:
            planned = whole.planned(only_changed=changed)
            with progress_bar() as progress:
                wrong = whole.mistakes(planned, progress)
            if as_json:
                print_json(_planned_values(planned, wrong))
            else:
                _print_planned(planned)
                print_diagnostics(wrong)
            return ExitCode.ERRORS if wrong else ExitCode.DONE
        with _told(as_json) as tell:
            outcomes = whole.run(
                only_changed=changed,
                processes=processes or usable_cores(),
                cluster=cluster,
                cache_folder=cache_folder.absolute() if cache_folder else None,
                tell=tell,
            )
    if as_json:
        print_json(_values(outcomes))
    else:
        _print_outcomes(outcomes, folder)
    return max((outcome.exit_code for outcome in outcomes), default=ExitCode.DONE)


@contextmanager
def _told(as_json: bool) -> Iterator[Tell]:
    """A bar where a person watches; else a line for each track, which a log of the night keeps."""
    with progress_bar() as bar:

        def tell(outcome: Outcome, done: int, of: int) -> None:
            if bar is not None:
                bar(outcome.work.track[-24:], done, of)
            elif not as_json and outcome.result != "kept":
                took = f"{outcome.took_seconds:.1f} s"
                click.echo(f"{done} of {of}  {outcome.result}  {outcome.work.track}  {took}", err=True)

        yield tell


def _print_planned(planned: Sequence[Planned]) -> None:
    for one in planned:
        if one.why is not None:
            click.echo(f"{one.work.track}: {one.why}")
    stale = sum(one.why is not None for one in planned)
    click.echo(f"{stale} of {len(planned)} tracks would be made")


def _print_outcomes(outcomes: Sequence[Outcome], folder: Path) -> None:
    """A row for each plan, all together, and everything that is wrong."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    table.add_column("plan")
    for heading in ("made", "kept", "failed", "sound", "size", "took"):
        table.add_column(heading, justify="right")
    for name, some in groupby(outcomes, key=_plan_name):
        table.add_row(Text(name), *_row(list(some)))
    table.add_row("all", *_row(outcomes))
    print_table(table)
    click.echo(f"in {folder}")
    wrong = dict.fromkeys(
        found for outcome in outcomes if outcome.result == "failed" for found in outcome.diagnostics
    )
    print_diagnostics(wrong)
    told = dict.fromkeys(
        found for outcome in outcomes if outcome.result == "made" for found in outcome.diagnostics
    )
    if told:
        many = "1 warning" if len(told) == 1 else f"{len(told)} warnings"
        click.echo(f"{many}; `cuetrack check` of a plan shows them, --json all of them", err=True)


def _plan_name(outcome: Outcome) -> str:
    work = outcome.work
    return work.plan if work.day is None else f"day {work.day.number}, {work.plan}"


def _row(some: Sequence[Outcome]) -> tuple[str, ...]:
    results = Counter(outcome.result for outcome in some)
    sound = sum(outcome.sound_seconds for outcome in some)
    size = sum(outcome.size_bytes for outcome in some)
    took = sum(outcome.took_seconds for outcome in some)
    counts = (str(results[name]) if results[name] else "" for name in ("made", "kept", "failed"))
    if not results["made"]:
        return (*counts, "", "", "")
    return (*counts, clock_text(Instant(Fraction(sound))), f"{size / 1e6:,.1f} MB", f"{took:.1f} s")


def _planned_values(planned: Sequence[Planned], wrong: Sequence[Diagnostic]) -> dict[str, object]:
    return {
        "passed": not wrong,
        "tracks": [{"track": one.work.track, "plan": one.work.plan, "why": one.why} for one in planned],
        "diagnostics": diagnostic_values(wrong),
    }


def _values(outcomes: Sequence[Outcome]) -> dict[str, object]:
    return {
        "passed": all(outcome.result != "failed" for outcome in outcomes),
        "tracks": [
            {
                "track": outcome.work.track,
                "plan": outcome.work.plan,
                "day": outcome.work.day.number if outcome.work.day else None,
                "level": outcome.work.level,
                "voice": outcome.work.voice,
                "result": outcome.result,
                "why": outcome.why,
                "files": list(outcome.made.files) if outcome.made else [],
                "seconds": round(outcome.sound_seconds, 3),
                "bytes": outcome.size_bytes,
                "took_seconds": round(outcome.took_seconds, 3),
                "diagnostics": diagnostic_values(outcome.diagnostics),
            }
            for outcome in outcomes
        ],
    }
