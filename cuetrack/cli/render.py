"""`cuetrack render`: the finished sound file, and its timeline beside it."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build
from cuetrack.cli.options import json_option, level_option, plan_argument
from cuetrack.cli.output import diagnostic_values, errors_as_json, print_diagnostics, print_json
from cuetrack.cli.progress import progress_bar
from cuetrack.timebase import Instant, clock_text, frame_seconds


@click.command()
@plan_argument
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The file to write; its ending (.wav .flac .mp3 .ogg .opus) picks the format. "
    "PLAN's name with .wav if not given.",
)
@click.option(
    "rate_hz",
    "--rate",
    type=int,
    metavar="HZ",
    default=build.DEFAULT_RATE_HZ,
    show_default=True,
    help="Sample rate: 48000, 44100, 22050 and the other usual ones.",
)
@click.option(
    "--channels", type=click.IntRange(1, 2), default=2, show_default=True, help="1 is mono, 2 is stereo."
)
@click.option("--voice", help="Speak with this voice instead of the plan's; `cuetrack voices` lists them.")
@level_option
@json_option
def render(
    plan: Path,
    output: Path | None,
    rate_hz: int,
    channels: int,
    voice: str | None,
    level: str | None,
    as_json: bool,
) -> None:
    """Render the cue track of PLAN.

    Beside the sound file NAME.timeline.json says where every cue stands, in frames.

    \b
    Example:
      cuetrack render session.yaml -o session.mp3
    """
    target = output if output is not None else plan.with_suffix(".wav")
    with errors_as_json(as_json), progress_bar() as progress:
        rendered = build.render(
            plan, target, rate_hz=rate_hz, channels=channels, level=level, voice=voice, progress=progress
        )
    if as_json:
        print_json(_values(rendered))
        return
    print_diagnostics(rendered.warnings)
    sound, *others = rendered.files
    arrangement = rendered.arrangement
    lasts = clock_text(Instant(frame_seconds(arrangement.frames, arrangement.rate_hz)), 1)
    click.echo(f"{sound}  {lasts}  {arrangement.rate_hz} Hz  {len(arrangement.placed)} cues")
    for other in others:
        click.echo(other)


def _values(rendered: build.Rendered) -> dict[str, object]:
    return {
        "passed": True,
        "files": [str(file) for file in rendered.files],
        "sample_rate": rendered.arrangement.rate_hz,
        "frames": rendered.arrangement.frames,
        "cues": len(rendered.arrangement.placed),
        "diagnostics": diagnostic_values(rendered.warnings),
    }
