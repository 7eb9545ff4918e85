"""`cuetrack check`: what a plan comes to and everything wrong with it, without making a sound."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuetrack import build
from cuetrack.cli.options import allow_outside_option, day_option, json_option, level_option, plan_and_day
from cuetrack.cli.output import (
    diagnostic_values,
    errors_as_json,
    length_text,
    loudness_text,
    print_diagnostics,
    print_json,
    print_table,
)
from cuetrack.cli.progress import progress_bar
from cuetrack.plan.fields import MixName
from cuetrack.speech.voices import voice_names
from cuetrack.timebase import Duration, Instant, clock_text, duration_text, frame_seconds
from cuetrack.timeline.mixes import MIX_NAMES
from cuetrack.timeline.promise import Chosen, ChosenRounds
from cuetrack.timeline.totals import Totals
from cuetrack.writers.timeline_json import loudness_values

if TYPE_CHECKING:
    from cuetrack.mix.audible import Heard

# The value of `--voice` where no name follows it; no voice can be called so.
_PLANS_OWN = ""


@click.command()
@click.argument("plan", type=click.Path(path_type=Path), required=False, metavar="PLAN")
@level_option
@click.option(
    "--voice",
    is_flag=False,
    flag_value=_PLANS_OWN,
    metavar="[NAME]",
    help="Measure real speech and show the tightest fits: the plan's voice, or the one called NAME.",
)
@click.option(
    "--sound",
    "with_sound",
    is_flag=True,
    help="Make a mix and show how each of its cues is heard over the music, and how far that is lowered.",
)
@click.option(
    "--mix",
    type=click.Choice(MIX_NAMES),
    default="class",
    show_default=True,
    help="The mix that --sound makes.",
)
@day_option
@allow_outside_option
@json_option
def check(
    plan: Path | None,
    level: str | None,
    voice: str | None,
    with_sound: bool,
    mix: MixName,
    called: str | None,
    allow_outside: bool,
    as_json: bool,
) -> None:
    """Find every mistake in PLAN and show its totals.

    Unless you say --voice or --sound, no speech is made and its length is estimated: what might not fit
    is a warning.

    \b
    Example:
      cuetrack check session.yaml
    """
    plan, voice = _plan_and_voice(plan, voice)
    with errors_as_json(as_json), progress_bar() as progress:
        file, day = plan_and_day(plan, called, allow_outside)
        checked = build.check(
            file,
            level=level,
            with_voice=voice is not None,
            with_sound=with_sound,
            mix=mix,
            voice=voice if voice != _PLANS_OWN else None,
            day=day,
            allow_outside=allow_outside,
            progress=progress,
        )
    if as_json:
        print_json(_values(checked))
        return
    _print_totals(checked)
    for rounds in checked.rounds:
        click.echo(_rounds_text(rounds))
    for one in checked.chosen:
        click.echo(_chosen_text(one))
    if checked.tightest:
        click.echo("tightest fits:")
    for fit in checked.tightest:
        spare, lasts = float(fit.spare_seconds), float(fit.seconds)
        click.echo(f"  {clock_text(fit.start, 1)}  {spare:.1f} s to spare after {lasts:.1f} s: “{fit.text}”")
    if checked.loudness is not None:
        _print_heard(checked, mix)
    if checked.review:
        click.echo("suggestions, not mistakes:")
    for line in checked.review:
        click.echo(f"  {line}")
    print_diagnostics(checked.warnings)


def _plan_and_voice(plan: Path | None, voice: str | None) -> tuple[Path, str | None]:
    """The plan and the value of `--voice`: in `--voice PLAN` the word that follows is no voice but the plan.

    Raises:
        click.UsageError: there is no plan.
    """
    if plan is not None:
        return plan, voice
    if not voice or voice in voice_names() or Path(voice).is_dir():
        named = f" (--voice takes {voice!r} for the voice)" if voice else ""
        raise click.UsageError(f"Missing argument 'PLAN'{named}.")
    return Path(voice), _PLANS_OWN


def _rounds_text(one: ChosenRounds) -> str:
    """What an open number of rounds became, and why."""
    between = f"{one.fewest} to {one.most}, usually {one.usual}"
    return f"rounds of {one.part!r}: {one.rounds}, to keep the promise ({between})"


def _chosen_text(one: Chosen) -> str:
    """What a flexible time became, and why."""
    distinct = sorted(set(one.seconds))
    times = f", {len(one.seconds)} times" if len(one.seconds) > 1 else ""
    chosen = " and ".join(map(_nearly, distinct))
    between = f"{duration_text(one.shortest)} to {duration_text(one.longest)}"
    words = f", {duration_text(one.needed)} or more for what is called" if one.needed > one.shortest else ""
    usually = f"usually {duration_text(one.usual)}{words}"
    return f"{one.name}: {chosen}{times}, to keep the promise ({between}, {usually})"


def _nearly(seconds: Fraction) -> str:
    """A length in words; to a tenth of a second where it takes up what other times leave over."""
    tenths = Fraction(round(seconds * 10), 10)
    return ("" if tenths == seconds else "about ") + duration_text(Duration(tenths))


def _print_heard(checked: build.Checked, mix: MixName) -> None:
    """The loudness of the mix, and each cue over its bed, the least audible first."""
    from rich.table import Table
    from rich.text import Text

    loudness = checked.loudness
    if loudness is not None:
        before, after = loudness_text(loudness.integrated_lufs), loudness_text(loudness.mastered_lufs)
        click.echo(f"\n{mix} mix: {before}, mastered by {loudness.gain_db:+.1f} dB to {after}")
    if not checked.heard:
        click.echo("no cue has music under it")
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("clock", "over the music", "rule", "music lowered"):
        table.add_column(heading, justify="right")
    table.add_column("cue")
    for heard in sorted(checked.heard, key=_least_clear_first):
        placed, unit = heard.placed, "LU" if heard.is_speech else "dB"
        at = Instant(frame_seconds(placed.start_frame, build.DEFAULT_RATE_HZ))
        lowered = f"{heard.bed_lowered_db:.1f} dB" if heard.bed_lowered_db <= -0.05 else ""
        said = f"“{placed.text}”" if heard.is_speech else f"♪ {placed.tone}"
        figures = (f"{heard.over_bed_db:.1f} {unit}", f"{heard.rule_db:g} {unit}", lowered)
        table.add_row(clock_text(at, 1), *figures, Text(said))
    print_table(table)


def _least_clear_first(heard: Heard) -> tuple[float, int]:
    return round(heard.over_bed_db - heard.rule_db, 1), heard.placed.start_frame


def _print_totals(checked: build.Checked) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(checked.session), title_justify="left", box=None, pad_edge=False)
    table.add_column("part")
    for heading in ("length", "work", "rest", "talk"):
        table.add_column(heading, justify="right")
    rows = [(part.name, part, "") for part in checked.parts]
    for name, totals, style in (*rows, ("whole session", checked.whole, "bold")):
        lengths = (totals.length, totals.work, totals.rest, totals.talk)
        table.add_row(Text(name), *(length_text(length) for length in lengths), style=style)
    print_table(table)


def _values(checked: build.Checked) -> dict[str, object]:
    return {
        "passed": True,
        "session": checked.session,
        **_seconds(checked.whole),
        "parts": [{"part": part.name, **_seconds(part)} for part in checked.parts],
        "chosen": [
            {
                "what": one.name,
                "line": one.place.line if one.place else None,
                "seconds": [float(seconds) for seconds in one.seconds],
                "shortest_seconds": float(one.shortest.seconds),
                "longest_seconds": float(one.longest.seconds),
                "usual_seconds": float(one.usual.seconds),
                "needed_seconds": float(one.needed.seconds),
            }
            for one in checked.chosen
        ],
        "chosen_rounds": [
            {
                "part": one.part,
                "line": one.place.line if one.place else None,
                "rounds": one.rounds,
                "fewest": one.fewest,
                "most": one.most,
                "usual": one.usual,
            }
            for one in checked.rounds
        ],
        "review": list(checked.review),
        "tightest_fits": [
            {
                "text": fit.text,
                "start_seconds": float(fit.start.seconds),
                "seconds": float(fit.seconds),
                "spare_seconds": float(fit.spare_seconds),
            }
            for fit in checked.tightest
        ],
        **(loudness_values(checked.loudness) if checked.loudness else {}),
        "heard": [
            {
                "text": heard.placed.text,
                "name": heard.placed.tone,
                "start_seconds": heard.placed.start_frame / build.DEFAULT_RATE_HZ,
                "over_bed_db": round(heard.over_bed_db, 1),
                "rule_db": heard.rule_db,
                "bed_lowered_db": round(heard.bed_lowered_db, 1),
            }
            for heard in checked.heard
        ],
        "diagnostics": diagnostic_values(checked.warnings),
    }


def _seconds(totals: Totals) -> dict[str, float]:
    lengths: dict[str, Duration] = {
        "length_seconds": totals.length,
        "work_seconds": totals.work,
        "rest_seconds": totals.rest,
        "talk_seconds": totals.talk,
    }
    return {key: float(length.seconds) for key, length in lengths.items()}
