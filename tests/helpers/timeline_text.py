"""Timeline → text that a person can check against the plan: exact seconds, one line a phase or cue.

Between the clock and the line of the plan stands what it is; of a spoken cue also its window and the
instant at which it wants to begin or to end.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuetrack.timebase import Instant, decimal_text
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import CountWord, Cue, Phrase, SpokenCue, Wordless, kind_of
from cuetrack.timeline.phases import Phase


def timeline_as_text(timeline: Timeline) -> str:
    """All phases, then all cues."""
    phases = (_phase_line(phase) for phase in timeline.phases)
    cues = (line for cue in timeline.cues for line in _cue_lines(cue))
    return "\n".join(["PHASES", *phases, "", "CUES", *cues, ""])


def _at(instant: Instant) -> str:
    return decimal_text(instant.seconds)


def _phase_line(phase: Phase) -> str:
    part = f"{phase.part.part} {phase.round}" if phase.part else ""
    move = phase.move.move if phase.move else ""
    stage = phase.stage.stage if phase.stage else ""
    words = " | ".join(word for word in (part, move, stage, phase.side) if word)
    span = f"{_at(phase.start)} to {_at(phase.end)}"
    line = phase.place.line if phase.place else "-"
    return f"{span:<14} {phase.kind:<8} {words}".ljust(60) + f" line {line}"


def _cue_lines(cue: Cue) -> Iterator[str]:
    what = cue.sound if isinstance(cue, Wordless) else _phrase(cue.phrase)
    line = cue.place.line if cue.place else "-"
    yield f"{_at(cue.mark):<7} {kind_of(cue):<13} {what}".ljust(60) + f" line {line}"
    if isinstance(cue, CountWord):
        yield f"{'':<21} onset on it, within {_at(cue.window.earliest)} to {_at(cue.window.latest_end)}"
    elif isinstance(cue, SpokenCue):
        yield f"{'':<21} {_spoken(cue)}"


def _phrase(phrase: Phrase) -> str:
    slots = ", ".join(f"{name}: {value}" for name, value in phrase.slots.items() if value)
    return f"{phrase.key} ({slots})" if slots else phrase.key


def _spoken(cue: SpokenCue) -> str:
    window = cue.window
    parts = [f"{cue.wanted_edge} at {_at(cue.wanted)}"]
    parts.append(f"within {_at(window.earliest)} to {_at(window.latest_end)}")
    if window.latest_start is not None:
        parts.append(f"begun by {_at(window.latest_start)}")
    if cue.gives_way:
        parts.append("gives way")
    return ", ".join(parts)
