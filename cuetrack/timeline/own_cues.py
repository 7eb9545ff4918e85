"""The coach's own cues, at points of the stretch they were written for."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from cuetrack.plan.model import FreeCue
from cuetrack.plan.times import FromEnd, FromStart, Share
from cuetrack.sound.tone_table import PLAN_TONES
from cuetrack.timebase import Duration, Instant, duration_text
from cuetrack.timeline.collector import CueCollector, window_around
from cuetrack.timeline.cues import OwnLine, Phrase, Priority
from cuetrack.timeline.phases import Phase

# How late a free line may come where something more important is said. Common practice, no source.
LINE_LATE = Duration(Fraction(2))


def add_free_cues(cues: CueCollector, written: Sequence[FreeCue], phases: Sequence[Phase]) -> None:
    """Adds the cues `written` for the stretch that `phases` make up."""
    start, end = phases[0].start, phases[-1].end
    for cue in written:
        mark = _point_in(cue, start, end)
        if not start <= mark <= end:
            length = duration_text(end - start)
            message = f"`at: {cue.at}` lies outside its stretch of {length}"
            cues.fault(message, cue.place_of("at"), f"write 0 s to {length}, or -1s from its end")
            continue
        if cue.tone is not None:
            cues.tone(PLAN_TONES[cue.tone], mark, cue.place_of("tone"))
        if cue.say is not None:
            cues.cues.append(
                OwnLine(
                    Phrase("as-written", {"text": cue.say}),
                    mark,
                    window_around(mark, phases, LINE_LATE),
                    mark,
                    "start",
                    cues.phase_index_at(mark),
                    None,
                    cue.place_of("say"),
                    Priority.FREE,
                    stretch_start=start,
                )
            )


def _point_in(cue: FreeCue, start: Instant, end: Instant) -> Instant:
    match cue.at:
        case FromStart(offset):
            return start + offset
        case FromEnd(offset):
            return end - offset
        case Share(percent):
            return start + (end - start) * (percent / 100)
