"""The day of a series, said before the first announcement: "day three of fourteen"."""

from __future__ import annotations

from fractions import Fraction

from cuetrack.plan.series import Day
from cuetrack.timebase import Instant
from cuetrack.timeline.calling import AFTER_BOUNDARY, LEAST_AFTER_BOUNDARY, WORD_TO_COUNT
from cuetrack.timeline.collector import CueCollector, room_in
from cuetrack.timeline.cues import Announcement, CountWord, Phrase, Priority, Window, Wordless


def announce_day(cues: CueCollector, day: Day) -> None:
    """Adds it in the lead-in, ahead of the announcement there; a session without a lead-in is a fault.

    All counts have to be there already: it keeps clear of them.
    """
    lead, place = cues.phases[0], cues.session.place_of("lead-in")
    if lead.kind != "lead-in" or not lead.length:
        hint = "write `lead-in: 10s`, or `numbered: off` in the series"
        cues.fault("the day of the series has no room", place, hint)
        return
    begin = Instant(Fraction(0))
    counted = [
        cue.mark - WORD_TO_COUNT
        for cue in cues.cues
        if isinstance(cue, Wordless | CountWord) and begin < cue.mark < lead.end
    ]
    latest = min([lead.end, *counted])
    cues.cues.append(
        Announcement(
            Phrase("series-day", {"day": str(day.number), "days": str(day.of)}),
            begin,
            Window(begin + LEAST_AFTER_BOUNDARY, latest),
            begin + AFTER_BOUNDARY,
            "start",
            lead.index,
            room_in((lead,), "at the start"),
            place,
            # Before the announcement, which makes room for it.
            Priority.STAGE,
        )
    )
