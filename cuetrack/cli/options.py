"""Options and arguments that several commands share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

import click

from cuetrack import build_series
from cuetrack.build import DEFAULT_RATE_HZ
from cuetrack.build_take import Source
from cuetrack.errors import UsageError, did_you_mean
from cuetrack.plan.fields import MixName
from cuetrack.plan.series import Day
from cuetrack.timeline.mixes import MIX_NAMES
from cuetrack.writers.formats import QUALITIES

_Name = TypeVar("_Name", bound=str)

plan_argument = click.argument("plan", type=click.Path(path_type=Path))
json_option = click.option("as_json", "--json", is_flag=True, help="Print the answer as JSON.")
level_option = click.option(
    "--level",
    type=click.Choice(["easier", "standard", "harder"]),
    help="Take this version of each move; the plan's own if not given.",
)
day_option = click.option(
    "called",
    "--day",
    metavar="DAY",
    help="PLAN is a series: take the session of this day, a number or a date such as 2026-11-30.",
)
rate_option = click.option(
    "rate_hz",
    "--rate",
    type=int,
    metavar="HZ",
    default=DEFAULT_RATE_HZ,
    show_default=True,
    help="Sample rate: 48000, 44100, 22050 and the other usual ones.",
)
channels_option = click.option(
    "--channels",
    type=click.IntRange(1, 2),
    metavar="NUMBER",
    default=2,
    show_default=True,
    help="1 is mono, 2 is stereo.",
)
quality_option = click.option(
    "--quality",
    type=click.Choice(QUALITIES),
    default="good",
    show_default=True,
    help="Of the sound: small files, good ones, or the best there are.",
)
mixes_option = click.option(
    "mixes",
    "--mix",
    type=click.Choice([*MIX_NAMES, "all"]),
    multiple=True,
    default=("class",),
    show_default=True,
    help="class: everything. ear: for the coach alone, with prompts. film: what the camera may hear. "
    "Say it twice, or all, for several: NAME.MIX.wav each.",
)
allow_outside_option = click.option(
    "--allow-outside",
    is_flag=True,
    help="Let the plan use files outside its folder, and links lead there. Only for plans you trust.",
)
links_out_option = click.option(
    "--allow-outside",
    is_flag=True,
    help="Write through a link that leads out of the folder of what is read. Only where you trust it.",
)


def source_of(
    path: Path, mix: MixName, level: str | None, voice: str | None, called: str | None, allow_outside: bool
) -> Source:
    """What a sound file is held against, by the options of `verify` and `align`."""
    if called is not None and Source(path).is_timeline:
        raise UsageError("--day is for a series of plans; a timeline is of one session")
    file, day = plan_and_day(path, called, allow_outside)
    return Source(file, mix, level, voice, day, allow_outside, path.parent)


def plan_and_day(plan: Path, called: str | None, allow_outside: bool) -> tuple[Path, Day | None]:
    """The plan to be read, and its day if `plan` is a series of which one is called."""
    if called is None:
        return plan, None
    return build_series.plan_of_day(plan, called, allow_outside=allow_outside)


def named(names: str | None, known: Sequence[_Name]) -> tuple[_Name, ...]:
    """What `--with NAMES` names of the `known`, in their order."""
    asked = [name.strip() for name in (names or "").split(",") if name.strip()]
    for name in asked:
        if name not in known:
            raise UsageError(f"--with knows no {name!r}; {did_you_mean(name, known)}")
    return tuple(name for name in known if name in asked)


def several(said: Sequence[str], known: Sequence[_Name]) -> tuple[_Name, ...]:
    """What was said of the `known`, in their order; `all` is every one."""
    return tuple(name for name in known if name in said or "all" in said)
