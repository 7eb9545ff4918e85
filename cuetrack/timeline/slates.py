"""The slates that line up cameras: a sweep on the session's first instant, and one just before its end.

Nothing else sounds with them, so that a camera's recording of one is found by its shape.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from cuetrack.sound.tone_table import tone_spec
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.calling import LEAST_AFTER_BOUNDARY
from cuetrack.timeline.collector import CueCollector
from cuetrack.timeline.cues import Cue, Wordless

SLATE = Duration(tone_spec("slate").length_seconds)
# The last slate starts so long before the end.
TAIL = Duration(Fraction(1, 2))
_LEAST_LEAD = Duration(Fraction(1))


def add_slates(cues: CueCollector) -> None:
    """Adds both slates if the plan asks for them, after all cues that keep clear of them.

    A lead that is too short for one is a fault, and so is a tone that would sound with one.
    """
    session, phases = cues.session, cues.phases
    if not session.slate:
        return
    place, begin, end = session.place_of("slate"), Instant(Fraction(0)), phases[-1].end
    first, last = phases[0], phases[-1]
    if first.kind != "lead-in" or first.length < _LEAST_LEAD:
        cues.fault("the first slate has no room", place, "write `lead-in: 1s` or more")
    elif last.part is not None or last.length < _LEAST_LEAD:
        cues.fault("the last slate has no room", place, "write `lead-out: 1s` or more")
    else:
        clear_from, clear_until = begin + SLATE + LEAST_AFTER_BOUNDARY, end - TAIL
        cues.cues[:] = [_kept_clear(cue, clear_from, clear_until) for cue in cues.cues]
        for cue in cues.cues:
            if isinstance(cue, Wordless) and cue.mark < clear_from:
                cues.fault("this sounds with the first slate", cue.place, "write a longer `lead-in`")
        cues.tone("slate", begin, place)
        cues.tone("slate", clear_until, place)


def _kept_clear(cue: Cue, clear_from: Instant, clear_until: Instant) -> Cue:
    """`cue`, if it is spoken, with a window that ends before the last slate and begins after the first."""
    if isinstance(cue, Wordless):
        return cue
    window = cue.window
    earliest, latest_end = max(window.earliest, clear_from), min(window.latest_end, clear_until)
    return replace(cue, window=replace(window, earliest=earliest, latest_end=latest_end))
