"""`cuetrack voices`: who can speak, how they sound, and a coach's own recorded voice."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build_voices
from cuetrack.build_voices import ScriptLine
from cuetrack.cli.options import (
    allow_outside_option,
    day_option,
    json_option,
    level_option,
    plan_and_day,
    plan_argument,
)
from cuetrack.cli.output import errors_as_json, print_diagnostics, print_json, print_table
from cuetrack.errors import Diagnostic, ExitCode
from cuetrack.timebase import seconds_text

_folder_argument = click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))


@click.group(invoke_without_command=True)
@click.option("as_json", "--json", is_flag=True, help="Print the list as JSON.")
@click.pass_context
def voices(context: click.Context, as_json: bool) -> None:
    """List the voices, hear one, or use your own.

    A plan names its voice with `voice: clear`, or leads to one: a voice file, a piper model, or a folder
    of recorded clips.

    \b
    Example:
      cuetrack voices
      cuetrack voices hear clear
    """
    if context.invoked_subcommand is None:
        _list(as_json)


def _list(as_json: bool) -> None:
    listed = build_voices.listed_voices()
    if as_json:
        print_json(
            [
                {
                    "voice": voice.name,
                    "description": voice.description,
                    "engine": voice.engine,
                    "languages": list(voice.languages),
                    "words_per_minute": voice.words_per_minute,
                    "missing": missing,
                    "licence": voice.licence,
                    "origin": voice.origin,
                }
                for voice, missing in listed
            ]
        )
        return
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for heading in ("voice", "languages", "engine", "here", "description"):
        table.add_column(heading)
    for voice, missing in listed:
        languages = "any it has" if voice.languages == ("*",) else ", ".join(voice.languages)
        here = "no" if missing else "yes"
        table.add_row(voice.name, languages, voice.engine, here, Text(voice.description))
    print_table(table)
    for voice, missing in listed:
        if missing:
            click.echo(f"{voice.name}: {missing}")


@voices.command()
@click.argument("name")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The file; the voice's name with .wav if not given.",
)
@click.option(
    "--say",
    "text",
    metavar="WORDS",
    help="Say this instead of the voice's own sentence; a recorded voice says only what was recorded.",
)
def hear(name: str, output: Path | None, text: str | None) -> None:
    """Write an audition of the voice NAME (or the path of one).

    \b
    Example:
      cuetrack voices hear clear --say "Next: band row, left side."
    """
    heard = build_voices.audition(name, output, text=text)
    print_diagnostics([Diagnostic("warning", note) for note in heard.notes])
    click.echo(heard.file)


@voices.command(short_help="List every phrase to record for a plan.")
@plan_argument
@level_option
@day_option
@allow_outside_option
@json_option
def script(plan: Path, level: str | None, called: str | None, allow_outside: bool, as_json: bool) -> None:
    """List every phrase to record for PLAN, with its file name and the time it has.

    Last come shorter wordings, which are said only where the usual ones do not fit.

    \b
    Example:
      cuetrack voices script session.yaml > script.txt
    """
    with errors_as_json(as_json):
        lines = _script(plan, level, called, allow_outside)
    if as_json:
        print_json(
            [
                {
                    "text": line.text,
                    "file": line.file,
                    "room_seconds": None if line.room_seconds is None else float(line.room_seconds),
                    "spare": line.spare,
                }
                for line in lines
            ]
        )
        return
    for line in lines:
        room = [] if line.room_seconds is None else [f"at most {seconds_text(line.room_seconds)}"]
        limits = ", ".join([*room, *(["only if the usual wording does not fit"] if line.spare else [])])
        click.echo(f"{line.file}: {line.text}" + (f"  ({limits})" if limits else ""))


@voices.command("check")
@_folder_argument
@click.option("--plan", "plan", type=click.Path(path_type=Path), required=True, help="The plan it is for.")
@level_option
@day_option
@allow_outside_option
@json_option
def check_folder(
    folder: Path, plan: Path, level: str | None, called: str | None, allow_outside: bool, as_json: bool
) -> int:
    """Find what is wrong with the clips in FOLDER for a plan.

    Missing clips, clips too long for their place, clipped, noisy, or uneven in level. A shorter wording
    for want of room may be missing: the check passes, and another voice says it if it is needed.

    \b
    Example:
      cuetrack voices check my-voice --plan session.yaml
    """
    from cuetrack.speech.recordings import recording_report

    with errors_as_json(as_json):
        lines = _script(plan, level, called, allow_outside)
        rooms = {line.text: line.room_seconds for line in lines if not line.spare}
        spares = {line.text: line.room_seconds for line in lines if line.spare}
        found = recording_report(folder, rooms, spares)
    passed = all(finding.fault == "no spare" for finding in found)
    if as_json:
        values = [{name: getattr(finding, name) for name in finding.__slots__} for finding in found]
        print_json({"passed": passed, "findings": values})
    else:
        for finding in found:
            click.echo(f"{finding.fault}: {finding.message}" + _record_as(finding.fault, finding.file))
        click.echo(f"{len(rooms)} phrases and {len(spares)} spare ones, {len(found)} findings")
    return ExitCode.DONE if passed else ExitCode.ERRORS


def _script(plan: Path, level: str | None, called: str | None, allow_outside: bool) -> tuple[ScriptLine, ...]:
    file, day = plan_and_day(plan, called, allow_outside)
    return build_voices.script(file, level=level, day=day, allow_outside=allow_outside)


def _record_as(fault: str, file: str) -> str:
    return f"; record it as {file}" if fault in {"missing", "no spare"} else ""


@voices.command("import", short_help="Copy clips, trimmed and levelled.")
@_folder_argument
@click.option(
    "--to", "target", type=click.Path(path_type=Path), required=True, help="The folder for the copies."
)
def import_folder(folder: Path, target: Path) -> int:
    """Copy the clips in FOLDER, trimmed and levelled; the originals stay as they are.

    \b
    Example:
      cuetrack voices import recordings --to my-voice
    """
    from cuetrack.speech.recordings import import_recordings

    clips = import_recordings(folder, target)
    for clip in clips:
        click.echo(f"{clip.source}: {clip.message}")
    written = sum(clip.written is not None for clip in clips)
    click.echo(f"{written} of {len(clips)} clips written to {target}")
    return ExitCode.DONE if written == len(clips) else ExitCode.ERRORS


@voices.command(short_help="Show, or clear, the spoken clips that are kept.")
@click.option("--clear", "clear", is_flag=True, help="Remove every clip.")
def cache(clear: bool) -> None:
    """Show, or clear, the spoken clips that are kept so that nothing is spoken twice.

    \b
    Example:
      cuetrack voices cache --clear
    """
    from cuetrack.speech.cache import BYTES_PER_MB, ClipCache

    kept = ClipCache()
    if clear:
        click.echo(f"{kept.clear()} clips removed")
    if kept.warning:
        print_diagnostics([Diagnostic("warning", kept.warning)])
    folder, clips, size_bytes, limit_bytes = kept.summary()
    size_mb, limit_mb = size_bytes / BYTES_PER_MB, limit_bytes / BYTES_PER_MB
    click.echo(f"{folder}: {clips} clips, {size_mb:.1f} MB of at most {limit_mb:g} MB")
