"""`cuetrack align`: where the track runs in a recording of the room, and what is made from that."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuetrack import build_take
from cuetrack.build_take import TAKE_ENDINGS, TAKE_PAPER_NAMES, Aligned, Source, TakePapers
from cuetrack.cli.options import (
    allow_outside_option,
    day_option,
    json_option,
    level_option,
    named,
    source_of,
)
from cuetrack.cli.output import diagnostic_values, errors_as_json, print_diagnostics, print_json
from cuetrack.cli.progress import progress_bar
from cuetrack.errors import ExitCode, UsageError
from cuetrack.plan.fields import MixName
from cuetrack.timebase import frame_clock_text
from cuetrack.timeline.mixes import MIX_NAMES

if TYPE_CHECKING:
    from cuetrack.take.actual import ActualMove
    from cuetrack.take.align import Alignment, Stretch

_MOST_UNHEARD = 8
# A shorter part without a cue is nothing to tell.
_LEAST_GAP_SECONDS = 1.0
# Sooner or later than this nobody minds. Common practice, no source.
_ON_TIME_SECONDS = 0.3


@click.command(short_help="Find the track in a recording of the room.")
@click.argument("plan", metavar="PLAN-OR-TIMELINE", type=click.Path(path_type=Path))
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="What the names of the files begin with; RECORDING's own name if not given.",
)
@click.option(
    "with_papers",
    "--with",
    metavar="NAMES",
    help=f"Write these for the recording: {', '.join(TAKE_PAPER_NAMES)}; comma between. captions, chapters "
    "and markers need the plan. track: the clean track, as long as the recording, to lay under the picture.",
)
@click.option("everything", "--all", is_flag=True, help="Write all of them.")
@click.option(
    "--actual", is_flag=True, help="Say when each move really began and ended, where that can be heard."
)
@click.option(
    "--mix",
    type=click.Choice(MIX_NAMES),
    default="class",
    show_default=True,
    help="The mix that played in the room.",
)
@click.option("--voice", metavar="NAME", help="The track was rendered with this voice instead of the plan's.")
@level_option
@day_option
@allow_outside_option
@json_option
def align(
    plan: Path,
    recording: Path,
    output: Path | None,
    with_papers: str | None,
    everything: bool,
    actual: bool,
    mix: MixName,
    voice: str | None,
    level: str | None,
    called: str | None,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Find the track of PLAN in RECORDING, the sound or the film of the room it was played in.

    Says when the track ran, how the clocks drift, and what could not be heard; nothing is guessed. From
    that come captions, chapters and markers for the recording, a cut list, and a clean track to lay under
    the picture.

    \b
    Example:
      cuetrack align session.yaml tuesday.mov
      cuetrack align session.yaml tuesday.mov --all
      cuetrack align session.yaml tuesday.mov --with captions,cuts -o tuesday-cut
    """
    with errors_as_json(as_json), progress_bar() as progress:
        if output is not None and not output.name:
            raise UsageError(f"-o {output} is a folder; say what the names in it begin with, such as tuesday")
        source = source_of(plan, mix, level, voice, called, allow_outside)
        base = output or recording.parent / recording.stem
        papers = _papers(with_papers, everything, actual, base, source)
        found = build_take.align(
            source,
            recording,
            papers,
            with_actual=actual or ".actual.csv" in papers.endings,
            progress=progress,
        )
    if as_json:
        from cuetrack.writers.take_report import alignment_values

        values = alignment_values(found.alignment, recording.name, found.moves)
        values["files"] = [str(path) for path in found.files]
        print_json({**values, "diagnostics": diagnostic_values(found.warnings)})
    else:
        print_diagnostics(found.warnings)
        _print(found, recording)
    if not found.alignment.stretches:
        raise click.exceptions.Exit(ExitCode.ERRORS)


def _papers(names: str | None, everything: bool, actual: bool, base: Path, source: Source) -> TakePapers:
    """What is written; with --all that which can be made of a timeline, if it is one."""
    asked: Sequence[str] = named(names, TAKE_PAPER_NAMES)
    if everything:
        from_plan = () if source.is_timeline else ("captions", "chapters", "markers")
        asked = [*from_plan, "cuts", "picture", "track", *(["actual"] if actual else [])]
    endings = [ending for name in TAKE_PAPER_NAMES if name in asked for ending in TAKE_ENDINGS[name]]
    return TakePapers(base, tuple(endings))


def _print(found: Aligned, recording: Path) -> None:
    alignment = found.alignment
    for note in alignment.notes:
        click.echo(f"note: {note}")
    if not alignment.stretches:
        click.echo(f"{recording.name}: not lined up. {_sentence(alignment.why or '')}")
        return
    number = len(alignment.stretches)
    where = "in one stretch" if number == 1 else f"in {number} stretches"
    click.echo(f"{recording.name}: the track of {alignment.expected.session!r} is heard {where}.\n")
    for one in alignment.stretches:
        click.echo(f"  {_stretch_text(one)}")
    for start, end in alignment.gaps():
        if end - start >= _LEAST_GAP_SECONDS:
            click.echo(f"  {_clock(start)} to {_clock(end)}  nothing of it is heard")
    _print_unheard(alignment)
    if found.moves is not None:
        _print_moves(found.moves, has_bed=alignment.expected.has_bed)
    for path in found.files:
        click.echo(path)


def _stretch_text(one: Stretch) -> str:
    recording = f"{_clock(one.recording_start_seconds)} to {_clock(one.recording_end_seconds)}"
    session = f"{_clock(one.programme_start_seconds)} to {_clock(one.programme_end_seconds)}"
    drift = one.rate_ppm / 1e6 * (one.recording_end_seconds - one.recording_start_seconds)
    heard = f"{len(one.heard)} of {len(one.cues)} cues heard"
    return (
        f"{recording}  is the session from {session}; its clock runs {one.rate_ppm:+.1f} ppm "
        f"({1000 * drift:+.0f} ms in all); {heard}"
    )


def _print_unheard(alignment: Alignment) -> None:
    unheard = alignment.unheard()
    if not unheard:
        return
    click.echo(f"\n{len(unheard)} of {len(alignment.expected.cues)} cues cannot be heard:")
    rate_hz = alignment.expected.rate_hz
    for cue in unheard[:_MOST_UNHEARD]:
        click.echo(f"  {_clock(cue.start_frame / rate_hz)} of the session  {cue.said}")
    if len(unheard) > _MOST_UNHEARD:
        click.echo(f"  and {len(unheard) - _MOST_UNHEARD} more; --json has all")


def _print_moves(moves: tuple[ActualMove, ...], *, has_bed: bool) -> None:
    if has_bed:
        click.echo("\nWhen each move began cannot be told: the track's own music plays over it.")
        return
    click.echo("\nWhen each move began, by what is heard beside the track:")
    for one in moves:
        late = one.late_seconds
        if late is None or one.start is None:
            said = "not to be heard"
        elif abs(late) <= max(_ON_TIME_SECONDS, one.start.within_seconds):
            said = f"on time (known to {one.start.within_seconds:.1f} s)"
        else:
            word = "late" if late > 0 else "early"
            said = f"{abs(late):.1f} s {word} (known to {one.start.within_seconds:.1f} s)"
        click.echo(f"  {_clock(one.planned_start_seconds)}  {one.called}: {said}")


def _clock(seconds: float) -> str:
    return frame_clock_text(round(seconds * 1000), 1000, 1)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
