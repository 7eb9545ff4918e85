"""Arrangement → how much room its phrases have left; the tightest first."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.errors import Place
from cuetrack.timebase import Instant, frame_seconds
from cuetrack.timeline.cues import CountWord, Movable, TempoWord, Wordless

MOST_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Fit:
    """A phrase in its place: where it begins, how long it lasts, and how much longer it could be."""

    text: str
    start: Instant
    seconds: Fraction
    spare_seconds: Fraction
    place: Place | None


def tightest_fits(arrangement: Arrangement, most: int = MOST_SHOWN) -> tuple[Fit, ...]:
    """The `most` phrases that could grow the least, each text where it is tightest."""
    fits: dict[str, Fit] = {}
    before = 0
    # What a tempo says makes way for others, and is told where it does.
    spoken = [p for p in arrangement.placed if p.text is not None and not isinstance(p.cue, TempoWord)]
    for placed, following in zip(spoken, [*spoken, None][1:], strict=True):
        after = arrangement.frames if following is None else following.start_frame
        fit = _fit(placed, before, after, arrangement.rate_hz)
        known = fits.get(fit.text)
        if known is None or fit.spare_seconds < known.spare_seconds:
            fits[fit.text] = fit
        before = placed.start_frame + placed.frames
    return tuple(sorted(fits.values(), key=lambda fit: (fit.spare_seconds, fit.start))[:most])


def _fit(placed: Placed, before: int, after: int, rate_hz: int) -> Fit:
    """The room of a phrase between what is spoken before and after it; that of a count only after it."""
    earliest, latest = before, after
    if isinstance(placed.cue, CountWord):
        earliest = placed.start_frame
    elif isinstance(placed.cue, Movable):
        earliest = max(before, placed.cue.window.earliest.to_frame(rate_hz))
    if not isinstance(placed.cue, Wordless):
        latest = min(after, placed.cue.window.latest_end.to_frame(rate_hz))
    return Fit(
        placed.text or "",
        Instant(frame_seconds(placed.start_frame, rate_hz)),
        frame_seconds(placed.frames, rate_hz),
        frame_seconds(latest - earliest - placed.frames, rate_hz),
        placed.cue.place,
    )
