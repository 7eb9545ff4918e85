"""`cuetrack verify`: a finished sound file held against its plan, cue by cue."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuetrack import build_take
from cuetrack.cli.options import allow_outside_option, day_option, json_option, level_option, source_of
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    print_diagnostics,
    print_json,
    print_table,
)
from cuetrack.cli.progress import progress_bar
from cuetrack.errors import Diagnostic, ExitCode, TimeError
from cuetrack.plan.fields import MixName
from cuetrack.timebase import Duration, frame_clock_text, parse_duration
from cuetrack.timeline.mixes import MIX_NAMES

if TYPE_CHECKING:
    from cuetrack.take.verification import Verification, VerifiedCue

_MOST_ROWS = 20


@click.command(short_help="Hold a finished file against its plan.")
@click.argument("source", metavar="PLAN-OR-TIMELINE", type=click.Path(path_type=Path))
@click.argument("audio", type=click.Path(path_type=Path))
@click.option(
    "--within",
    metavar="TIME",
    help="How far from its place a cue may be, such as 1ms or 0.02s; not by one frame if not given.",
)
@click.option(
    "--mix",
    type=click.Choice(MIX_NAMES),
    default="class",
    show_default=True,
    help="The mix that the file holds, if PLAN-OR-TIMELINE is a plan.",
)
@click.option("--voice", help="The file was rendered with this voice instead of the plan's.")
@level_option
@day_option
@click.option("--all-cues", is_flag=True, help="List every cue, not only those that are wrong.")
@allow_outside_option
@json_option
def verify(
    source: Path,
    audio: Path,
    within: str | None,
    mix: MixName,
    voice: str | None,
    level: str | None,
    called: str | None,
    all_cues: bool,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Hold a finished file against its plan: every cue where it should be, and nothing else.

    AUDIO is any sound file, or a video with the track in it: one that you rendered, or that someone cut,
    moved or exported anew. PLAN-OR-TIMELINE is the plan, or the NAME.timeline.json that a render wrote; with
    the plan, the music is compared, too. Answers with exit code 1 if the file is not as planned.

    A recording of the room is another matter: `cuetrack align`.

    \b
    Example:
      cuetrack verify session.yaml session.mp3
      cuetrack verify session.timeline.json from-the-editor.m4a --within 1ms
    """
    with errors_as_json(as_json), progress_bar() as progress:
        tolerance = _tolerance(within)
        wanted = source_of(source, mix, level, voice, called, allow_outside)
        made, warnings = build_take.verify(wanted, audio, within=tolerance, progress=progress)
    if as_json:
        print_json(_values(made, audio, warnings))
    else:
        _print(made, audio, all_cues=all_cues)
        print_diagnostics(warnings)
    if not made.passed:
        raise click.exceptions.Exit(ExitCode.ERRORS)


def _tolerance(text: str | None) -> Duration | None:
    """How far off a cue may be.

    Raises:
        click.BadParameter: the text is no time.
    """
    if text is None:
        return None
    try:
        return parse_duration(text)
    except TimeError as error:
        raise click.BadParameter(f"{error}; {error.hint or 'write a time'}", param_hint="--within") from None


def _print(made: Verification, audio: Path, *, all_cues: bool) -> None:
    click.echo(_verdict(made, audio))
    for fault in made.faults:
        click.echo(f"  {fault}")
    if made.level_db is not None and abs(made.level_db) >= 0.05:
        louder = "louder" if made.level_db > 0 else "softer"
        about = "" if made.knows_levels else "about "
        click.echo(f"  all of it is {about}{abs(made.level_db):.1f} dB {louder} than it was rendered")
    click.echo()
    _print_kinds(made)
    wrong = [one for one in made.cues if one.is_compared and _is_wrong(made, one)]
    _print_cues(made, made.cues if all_cues else wrong, all_cues=all_cues)
    _print_extras(made)
    _print_rests(made)
    for note in made.notes:
        click.echo(f"note: {note}")


def _verdict(made: Verification, audio: Path) -> str:
    compared = sum(one.is_compared for one in made.cues)
    lasts = frame_clock_text(made.frames, made.rate_hz, 1)
    word = click.style("passed", fg="green", bold=True) if made.passed else ""
    word = word or click.style("not as planned", fg="red", bold=True)
    return f"{audio.name}: {word}  {lasts}  {made.rate_hz} Hz  {compared} of {len(made.cues)} cues compared"


def _is_wrong(made: Verification, one: VerifiedCue) -> bool:
    return one.found_frame is None or made.is_off(one) or made.is_changed(one)


def _print_kinds(made: Verification) -> None:
    """One row for each kind of cue: how many there are, how far off, how loud."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    table.add_column("cues")
    for heading in ("planned", "found", "largest error", "level, of the file's own"):
        table.add_column(heading, justify="right")
    for kind in dict.fromkeys(one.cue.kind for one in made.cues):
        cues = [one for one in made.cues if one.cue.kind == kind]
        compared = [one for one in cues if one.is_compared]
        errors = [one.error_frames for one in cues if one.error_frames is not None]
        levels = [one.level_db for one in cues if one.level_db is not None]
        found = str(len(errors)) if compared else "not compared"
        largest = _error_text(max(errors, key=abs), made.rate_hz) if errors else ""
        table.add_row(kind, str(len(cues)), found, largest, _range_text(levels))
    print_table(table)


def _print_cues(made: Verification, cues: Sequence[VerifiedCue], *, all_cues: bool) -> None:
    from rich.table import Table
    from rich.text import Text

    if not cues:
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("planned", "error", "level"):
        table.add_column(heading, justify="right")
    table.add_column("every cue" if all_cues else "wrong or missing")
    shown = cues if all_cues else cues[:_MOST_ROWS]
    for one in shown:
        at = frame_clock_text(one.cue.mark_frame, made.rate_hz, 1)
        error = "missing" if one.is_compared else "not compared"
        if one.error_frames is not None:
            error = _error_text(one.error_frames, made.rate_hz)
        level = "" if one.level_db is None else _level_text(one.level_db)
        table.add_row(at, error, level, Text(f"{one.cue.said}{_line_text(one)}"))
    click.echo()
    print_table(table)
    _print_more(len(cues) - len(shown))


def _line_text(one: VerifiedCue) -> str:
    return f" (line {one.cue.line})" if one.cue.line else ""


def _print_extras(made: Verification) -> None:
    from rich.table import Table
    from rich.text import Text

    if not made.extras:
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("at", "for", "level"):
        table.add_column(heading, justify="right")
    table.add_column("does not belong there")
    for extra in made.extras[:_MOST_ROWS]:
        at = frame_clock_text(extra.start_frame, made.rate_hz, 2)
        lasts = f"{extra.frames / made.rate_hz:.2f} s"
        like = f"sounds like {extra.like}" if extra.like else "like none of the cues"
        table.add_row(at, lasts, f"{extra.level_dbfs:.0f} dBFS", Text(like))
    click.echo()
    print_table(table)
    _print_more(len(made.extras) - _MOST_ROWS)


def _print_rests(made: Verification) -> None:
    bad = [one for one in made.rests if not one.passed]
    if bad:
        click.echo()
    for one in bad[:_MOST_ROWS]:
        first = frame_clock_text(one.phase.start_frame, made.rate_hz, 1)
        last = frame_clock_text(one.phase.end_frame, made.rate_hz, 1)
        click.echo(
            f"rest {first} to {last}: what does not belong there is up to {one.loudest_dbfs:.0f} dBFS loud"
        )
    _print_more(len(bad) - _MOST_ROWS)


def _print_more(more: int) -> None:
    if more > 0:
        click.echo(f"and {more} more; --json has all")


def _error_text(frames: int, rate_hz: int) -> str:
    """`+1 frame (+0.02 ms)`; later is more."""
    if not frames:
        return "0 frames"
    seconds = frames / rate_hz
    time = f"{1000 * seconds:+.2f} ms" if abs(seconds) < 1 else f"{seconds:+.2f} s"
    return f"{frames:+d} {'frame' if abs(frames) == 1 else 'frames'} ({time})"


def _level_text(level_db: float) -> str:
    """To a tenth of a decibel, and never `-0.0`."""
    return f"{round(level_db, 1) + 0.0:+.1f} dB"


def _range_text(levels_db: Sequence[float]) -> str:
    if not levels_db:
        return ""
    lowest, highest = _level_text(min(levels_db)), _level_text(max(levels_db))
    return lowest if lowest == highest else f"{lowest} to {highest}"


def _values(made: Verification, audio: Path, warnings: Iterable[Diagnostic]) -> dict[str, object]:
    return {
        "passed": made.passed,
        "audio": str(audio),
        "sample_rate": made.rate_hz,
        "frames": made.frames,
        "planned_frames": made.expected.frames,
        "late_frames": made.late_frames,
        "courses": [{"from_frame": one.from_frame, "late_frames": one.late_frames} for one in made.courses],
        "speed_ppm": _rounded(made.speed_ppm, 3),
        "level_db": _rounded(made.level_db),
        "faults": list(made.faults),
        "cues": [_cue_values(one) for one in made.cues],
        "rests": [
            {
                "phase": one.phase.index,
                "start_frame": one.phase.start_frame,
                "frames": one.phase.frames,
                "loudest_dbfs": _rounded(one.loudest_dbfs),
                "exact_zero": one.is_exact_zero,
                "passed": one.passed,
            }
            for one in made.rests
        ],
        "extra": [
            {
                "start_frame": one.start_frame,
                "frames": one.frames,
                "level_dbfs": _rounded(one.level_dbfs),
                "like": one.like,
            }
            for one in made.extras
        ],
        "notes": list(made.notes),
        "diagnostics": diagnostic_values(warnings),
    }


def _cue_values(one: VerifiedCue) -> dict[str, object]:
    return {
        "kind": one.cue.kind,
        "text": one.cue.text,
        "name": one.cue.name,
        "phase": one.cue.phase,
        "line": one.cue.line,
        "mark_frame": one.cue.mark_frame,
        "found_frame": one.found_frame,
        "error_frames": one.error_frames,
        "level_db": _rounded(one.level_db),
        "compared": one.is_compared,
    }


def _rounded(value: float | None, digits: int = 2) -> float | None:
    """The value with so many decimals; None for none, and for the level of nothing."""
    return round(value, digits) + 0.0 if value is not None and isfinite(value) else None
