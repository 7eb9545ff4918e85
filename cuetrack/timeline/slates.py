"""The slates that line up cameras: a sweep on the session's first instant, and one just before its end."""

from __future__ import annotations

from fractions import Fraction

from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.collector import CueCollector

# The second slate starts so long before the end; it lasts 0.32 s.
TAIL = Duration(Fraction(1, 2))
# So that nothing else sounds at the same time.
_LEAST_LEAD = Duration(Fraction(1))


def add_slates(cues: CueCollector) -> None:
    """Adds both slates if the plan asks for them; a lead that is too short for one is a fault."""
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
        cues.tone("slate", begin, place)
        cues.tone("slate", end - TAIL, place)
