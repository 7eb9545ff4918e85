"""`cuetrack preview`: the changeovers of a session, to be heard and seen before it is filmed."""

from __future__ import annotations

from pathlib import Path

import click

from cuetrack import build_preview
from cuetrack.build_preview import Choice, Preview
from cuetrack.cli.options import (
    allow_outside_option,
    day_option,
    json_option,
    level_option,
    plan_and_day,
    plan_argument,
)
from cuetrack.cli.output import diagnostic_values, errors_as_json, print_diagnostics, print_json
from cuetrack.cli.progress import progress_bar
from cuetrack.errors import TimeError, UsageError
from cuetrack.plan.fields import MixName
from cuetrack.plan.series import name_on_day
from cuetrack.timebase import Duration, duration_text, frame_clock_text, parse_duration
from cuetrack.timeline.mixes import MIX_NAMES


class _Time(click.ParamType[Duration]):
    name = "time"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Duration:
        if isinstance(value, Duration):
            return value
        try:
            return parse_duration(str(value))
        except TimeError as error:
            self.fail(str(error), param, ctx)


_USUALLY_AROUND = duration_text(build_preview.DEFAULT_AROUND)


@click.command(short_help="Hear and see the changeovers before you film.")
@plan_argument
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The sound file to write; NAME.preview.wav beside PLAN if not given and nothing is shown live.",
)
@click.option(
    "--around",
    type=_Time(),
    default=build_preview.DEFAULT_AROUND,
    metavar="TIME",
    help=f"How much is heard before and after each changeover; {_USUALLY_AROUND} if not given.",
)
@click.option("--whole", is_flag=True, help="Leave nothing out.")
@click.option("start", "--from", type=_Time(), metavar="TIME", help="Begin here, as in 3:00.")
@click.option("end", "--to", type=_Time(), metavar="TIME", help="End here.")
@click.option("--part", metavar="NAME", help="Only the part of this name.")
@click.option("--move", metavar="NAME", help="Only the move of this name, each time with its announcement.")
@click.option(
    "--mix", type=click.Choice(MIX_NAMES), default="class", show_default=True, help="Which mix is heard."
)
@click.option("--live", is_flag=True, help="Show the countdown here: now, next, seconds left, calls.")
@click.option(
    "--speed",
    type=click.FloatRange(0.1, 100),
    metavar="NUMBER",
    help="With --live: how many times as fast as it is; 1 if not given.",
)
@click.option("--aloud", is_flag=True, help="Play it through this machine's loudspeaker, with the countdown.")
@click.option("--voice", metavar="NAME", help="Speak with this voice instead of the plan's.")
@level_option
@day_option
@allow_outside_option
@json_option
def preview(
    plan: Path,
    output: Path | None,
    around: Duration,
    whole: bool,
    start: Duration | None,
    end: Duration | None,
    part: str | None,
    move: str | None,
    mix: MixName,
    live: bool,
    speed: float | None,
    aloud: bool,
    voice: str | None,
    level: str | None,
    called: str | None,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Hear and see the changeovers of PLAN before you film.

    The long middles are left out; a soft tone stands in for each. What is heard is what the render
    has there, sample for sample.

    \b
    Example:
      cuetrack preview session.yaml -o preview.wav
      cuetrack preview session.yaml --live --part Circuit --speed 2
    """
    if aloud and speed is not None:
        raise UsageError("--speed is for the countdown alone; sound plays at its own")
    if speed is not None and not live:
        raise UsageError("--speed needs --live")
    if as_json and (live or aloud):
        raise UsageError("--json is for the file; leave out --live and --aloud")
    choice = Choice(None if whole else around, part, move, start, end)
    with errors_as_json(as_json), progress_bar() as progress:
        file, day = plan_and_day(plan, called, allow_outside)
        usual = None if live or aloud else plan.with_name(f"{name_on_day(plan, day)}.preview.wav")
        target = output or usual
        if target is not None:
            build_preview.refuse_target(file, target, allow_outside=allow_outside, home=plan.parent)
        ready = build_preview.preview(
            file,
            choice,
            mix=mix,
            level=level,
            voice=voice,
            day=day,
            allow_outside=allow_outside,
            progress=progress,
        )
        if target is not None:
            build_preview.write_preview(ready, target, progress)
    if as_json:
        print_json(_values(ready, target))
        return
    print_diagnostics(ready.warnings)
    if target is not None:
        whole_text, heard_text = (
            frame_clock_text(frames, ready.arrangement.rate_hz)
            for frames in (ready.arrangement.frames, ready.frames)
        )
        click.echo(f"{target}  {heard_text} of {whole_text}, {len(ready.stretches)} stretches")
    if live or aloud:
        _show(ready, aloud, speed or 1.0)


def _show(ready: Preview, aloud: bool, speed: float) -> None:
    from cuetrack.cli.countdown import machine_clock, show_countdown

    if aloud:
        from cuetrack.cli.aloud import played_aloud

        with played_aloud(ready) as clock:
            show_countdown(ready, clock)
    else:
        show_countdown(ready, machine_clock(ready.frames, ready.arrangement.rate_hz, speed))


def _values(ready: Preview, target: Path | None) -> dict[str, object]:
    return {
        "passed": True,
        "file": None if target is None else str(target),
        "sample_rate": ready.arrangement.rate_hz,
        "frames": ready.frames,
        "stretches": [
            {"preview_start_frame": at, "start_frame": one.start_frame, "frames": one.frames}
            for at, one in zip(ready.starts, ready.stretches, strict=True)
        ],
        "diagnostics": diagnostic_values(ready.warnings),
    }
