"""`cuetrack timeline`: what is done and what is called when, as a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

import click

from cuetrack import build
from cuetrack.cli.options import (
    allow_outside_option,
    day_option,
    json_option,
    level_option,
    plan_and_day,
    plan_argument,
)
from cuetrack.cli.output import errors_as_json, length_text, print_diagnostics, print_json, print_table
from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.plan.fields import MixName
from cuetrack.timebase import clock_text, frame_clock_text
from cuetrack.timeline.cues import TempoWord, kind_of
from cuetrack.timeline.mixes import MIX_NAMES, mix_of
from cuetrack.timeline.phases import Phase


@click.command()
@plan_argument
@level_option
@click.option(
    "--mix",
    type=click.Choice(MIX_NAMES),
    default="class",
    show_default=True,
    help="Whose cues: with ear, your own prompts too.",
)
@day_option
@allow_outside_option
@json_option
def timeline(
    plan: Path, level: str | None, mix: MixName, called: str | None, allow_outside: bool, as_json: bool
) -> None:
    """Show what is done and what is called when.

    Marks are exact. Where a phrase begins is estimated here, since no voice is used.

    \b
    Example:
      cuetrack timeline session.yaml
    """
    with errors_as_json(as_json):
        file, day = plan_and_day(plan, called, allow_outside)
        known = build.compile_plan(file, level=level, mixes=(mix,), day=day, allow_outside=allow_outside)
        whole = build.likely_arrangement(known, build.DEFAULT_RATE_HZ)
        arrangement = whole.holding(mix_of(known.timeline.session, mix).contents)
    if as_json:
        from cuetrack.writers.timeline_json import timeline_document

        print_json({"estimated": True, **timeline_document(arrangement, mix)})
        return
    _print(arrangement)
    print_diagnostics((*known.warnings, *arrangement.warnings))


def _print(arrangement: Arrangement) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(
        title=Text(arrangement.timeline.session.session), title_justify="left", box=None, pad_edge=False
    )
    for heading in ("clock", "phase", "length", "move", "stage", "side", "called"):
        table.add_column(heading, justify="right" if heading in {"clock", "length"} else "left")
    part = None
    for phase, placed in _by_phase(arrangement):
        if phase.part is not None and (phase.part, phase.round) != part:
            part = (phase.part, phase.round)
            table.add_row("", "", "", Text(_part_text(phase)), style="bold")
        table.add_row(
            clock_text(phase.start),
            phase.kind,
            length_text(phase.length),
            Text(phase.move.move if phase.move else ""),
            Text(phase.stage.stage if phase.stage else ""),
            phase.side or "",
            Text("\n".join(_called(placed, arrangement.rate_hz))),
        )
    print_table(table)


def _part_text(phase: Phase) -> str:
    if phase.part is None:
        return ""
    rounds = f", round {phase.round} of {phase.part.rounds}" if phase.part.rounds > 1 else ""
    return f"{phase.part.part}{rounds}"


def _by_phase(arrangement: Arrangement) -> Iterator[tuple[Phase, list[Placed]]]:
    """Each phase with the sounds that begin in it."""
    waiting = sorted(arrangement.placed, key=_shown_frame)[::-1]
    for phase in arrangement.timeline.phases:
        end = phase.end.to_frame(arrangement.rate_hz)
        begun = []
        while waiting and _shown_frame(waiting[-1]) < end:
            begun.append(waiting.pop())
        yield phase, begun


def _shown_frame(placed: Placed) -> int:
    """Where it begins; a word of a tempo belongs to its beat, though it begins just before."""
    return placed.mark_frame if isinstance(placed.cue, TempoWord) else placed.start_frame


def _called(placed: Sequence[Placed], rate_hz: int) -> Iterator[str]:
    """One line a phrase; tones of one kind in a row share one, and so do the words of a count."""
    # The clicks of a tempo share one line a tone, or they would stand between the words of a count.
    clicks: dict[str | None, list[Placed]] = {}
    for sound in placed:
        if kind_of(sound.cue) == "click":
            clicks.setdefault(sound.tone, []).append(sound)
    others = [sound for sound in placed if kind_of(sound.cue) != "click"]
    kept = sorted((*others, *(same[0] for same in clicks.values())), key=lambda sound: sound.start_frame)
    for (kind, _), group in groupby(kept, key=_line_key):
        sounds = list(group)
        counted = kind == "count"
        frame = sounds[0].mark_frame if counted else sounds[0].start_frame
        clock = frame_clock_text(frame, rate_hz, 1)
        if sounds[0].tone is None:
            alone = " (you alone)" if kind == "prompt" else ""
            yield f"{clock} “{' '.join(sound.text or '' for sound in sounds)}”{alone}"
        else:
            number = len(clicks[sounds[0].tone]) if kind == "click" else len(sounds)
            times = f"{number} × " if number > 1 else ""
            yield f"{clock} ♪ {times}{sounds[0].tone}"


def _line_key(placed: Placed) -> tuple[str, object]:
    kind = kind_of(placed.cue)
    return (kind, None) if kind == "count" else (kind, placed.tone or id(placed))
