"""`cuetrack render`: the finished sound file, and its timeline beside it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import click

from cuetrack import build
from cuetrack.build_papers import PAPER_NAMES, Papers, chosen_papers
from cuetrack.cli.options import (
    allow_outside_option,
    channels_option,
    day_option,
    json_option,
    level_option,
    mixes_option,
    named,
    plan_and_day,
    plan_argument,
    quality_option,
    rate_option,
    several,
)
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    loudness_text,
    print_diagnostics,
    print_json,
)
from cuetrack.cli.progress import progress_bar
from cuetrack.errors import UsageError
from cuetrack.plan.series import Day, name_on_day
from cuetrack.timebase import frame_clock_text
from cuetrack.timeline.mixes import MIX_NAMES
from cuetrack.writers.formats import Quality
from cuetrack.writers.overlay import VIDEO_RATES
from cuetrack.writers.timeline_json import loudness_values


@click.command()
@plan_argument
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The file to write; its ending (.wav .flac .mp3 .m4a .ogg .opus) picks the format. "
    "PLAN's name with .wav if not given; with --with or --all in a folder of that name.",
)
@rate_option
@channels_option
@mixes_option
@click.option("--stems", is_flag=True, help="Write voice, tones, clicks, slate and bed apart, too, as WAV.")
@quality_option
@click.option(
    "with_papers",
    "--with",
    metavar="NAMES",
    help=f"Write these beside it, too, and a page that links them: {', '.join(PAPER_NAMES)}; comma between.",
)
@click.option("everything", "--all", is_flag=True, help="Write all of those that this machine can.")
@click.option(
    "--sound-inside", is_flag=True, help="Carry the sound in the player page: one file for a phone."
)
@click.option(
    "video_rate",
    "--video-rate",
    type=click.Choice(list(VIDEO_RATES)),
    default="25",
    show_default=True,
    help="Video frames a second of the overlay.",
)
@click.option(
    "--voice",
    metavar="NAME",
    help="Speak with this voice instead of the plan's; `cuetrack voices` lists them.",
)
@level_option
@day_option
@allow_outside_option
@json_option
def render(
    plan: Path,
    output: Path | None,
    rate_hz: int,
    channels: int,
    mixes: tuple[str, ...],
    stems: bool,
    quality: Quality,
    with_papers: str | None,
    everything: bool,
    sound_inside: bool,
    video_rate: str,
    voice: str | None,
    level: str | None,
    called: str | None,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Render the cue track of PLAN.

    Beside the sound file NAME.timeline.json says where every cue stands, in frames.

    \b
    Example:
      cuetrack render session.yaml -o session.mp3
      cuetrack render session.yaml --all
    """
    wanted = several(mixes, MIX_NAMES)
    with errors_as_json(as_json), progress_bar() as progress:
        file, day = plan_and_day(plan, called, allow_outside)
        papers = _papers(with_papers, everything, sound_inside, VIDEO_RATES[video_rate])
        target = output or _usual_target(plan, day, in_folder=bool(papers.endings))
        rendered = build.render(
            file,
            target,
            rate_hz=rate_hz,
            channels=channels,
            level=level,
            voice=voice,
            mixes=wanted,
            stems=stems,
            quality=quality,
            papers=papers,
            day=day,
            allow_outside=allow_outside,
            home=plan.parent,
            progress=progress,
        )
    if as_json:
        print_json(_values(rendered))
        return
    print_diagnostics(rendered.warnings)
    arrangement = rendered.arrangement
    lasts = frame_clock_text(arrangement.frames, arrangement.rate_hz, 1)
    for mix in rendered.mixes:
        loud = loudness_text(mix.loudness.mastered_lufs)
        click.echo(f"{mix.track}  {lasts}  {arrangement.rate_hz} Hz  {mix.cues} cues  {loud}")
    tracks = {mix.track for mix in rendered.mixes}
    for other in rendered.files:
        if other not in tracks:
            click.echo(other)


def _usual_target(plan: Path, day: Day | None, *, in_folder: bool) -> Path:
    """PLAN's name with .wav, beside it; or in a folder of that name where there are many files."""
    name = name_on_day(plan, day)
    return (plan.with_name(name) if in_folder else plan.parent) / f"{name}.wav"


def _papers(names: str | None, everything: bool, sound_inside: bool, video_rate: Fraction) -> Papers:
    """What is written beside the track."""
    if everything:
        return chosen_papers(PAPER_NAMES, video_rate, sound_inside=sound_inside, as_far_as_can_be=True)
    asked = named(names, PAPER_NAMES)
    if sound_inside and "player" not in asked:
        raise UsageError("--sound-inside is for the player page; add --with player")
    return chosen_papers(asked, video_rate, sound_inside=sound_inside)


def _values(rendered: build.Rendered) -> dict[str, object]:
    return {
        "passed": True,
        "files": [str(file) for file in rendered.files],
        "sample_rate": rendered.arrangement.rate_hz,
        "frames": rendered.arrangement.frames,
        "mixes": [
            {"mix": mix.name, "file": str(mix.track), "cues": mix.cues, **loudness_values(mix.loudness)}
            for mix in rendered.mixes
        ],
        "diagnostics": diagnostic_values(rendered.warnings),
    }
