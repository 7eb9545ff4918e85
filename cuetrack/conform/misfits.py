"""What does not fit → diagnostics on the coach's lines: by how much, and what would fit."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from cuetrack.conform.lane import VoiceLane
from cuetrack.errors import Diagnostic
from cuetrack.timebase import Duration, duration_text, frame_seconds, seconds_text
from cuetrack.timeline.cues import CountWord, Movable, OwnLine

_QUOTED_CHARACTERS = 60
_BY_TONES = "count by tones"

# By the key of a phrase: what it is called, and what a coach can do beside making room for it.
_NAMES_AND_REMEDIES = {
    "number": ("the count", "leave numbers out, as in `count: [10, 5, 3]`, or count by tones"),
    "go": ("the count", _BY_TONES),
    "rest": ("the count", _BY_TONES),
    "finished": ("the count", _BY_TONES),
    "change-sides": ("the change of side", "write `side: off`"),
    "stage": ("the stage call", "call it later with a shorter `ahead:`"),
    "time-left": ("the warning", "warn at another time, or write `warn: off`"),
    "halfway": ("the halfway call", "write `halfway: off`"),
    "announce": ("the announcement", "shorten the text"),
    "last-round": ("the announcement", "shorten the text"),
    "well-done": ("the praise", "write `praise: off`"),
    "as-written": ("the line", "shorten the text"),
}
_OTHERWISE = ("the phrase", "shorten the text")


@dataclass(frozen=True, slots=True)
class Misfit:
    """A phrase that does not fit: by how many frames it is too long, and its room too short.

    `missing_frames` is None where more room would not help.
    """

    cue: CountWord | Movable
    text: str
    frames: int
    over_frames: int
    missing_frames: int | None

    @property
    def key(self) -> object:
        """Equal for what one change of the plan would help."""
        room = self.cue.room
        return self.cue.place, self.text, room and (room.word, room.where)

    @property
    def extent(self) -> tuple[int, int]:
        """Larger for the worse of two."""
        return self.missing_frames or 0, self.over_frames


def diagnostic_of(misfit: Misfit, lane: VoiceLane, rate_hz: int, *, estimated: bool) -> Diagnostic:
    """The error about `misfit`, or, where lengths are estimated, the warning.

    Args:
        misfit: what does not fit.
        lane: everything that does.
        rate_hz: of the frames in both.
        estimated: whether the lengths are estimates.
    """
    cue, text = misfit.cue, misfit.text
    name, remedy = _NAMES_AND_REMEDIES.get(cue.phrase.key, _OTHERWISE)
    about = "about " if estimated else ""
    takes, over = (
        about + seconds_text(frame_seconds(frames, rate_hz)) for frames in (misfit.frames, misfit.over_frames)
    )
    # Where not even its beginning has a place, more is missing than it is long.
    lacks = f"{over} too long" if misfit.over_frames < misfit.frames else f"and {over} more are needed"
    message = f'{name} "{_shown(text)}" takes {takes}, {lacks}'
    fits = _fitting_point(cue, misfit.frames, lane, rate_hz) if isinstance(cue, OwnLine) else None
    fits = fits or _fitting_room(misfit, rate_hz)
    hint = f"{fits} fits it; or {remedy}" if fits else remedy
    return Diagnostic("warning" if estimated else "error", message, cue.place, hint)


def shortened_note(cue: Movable, text: str, words: str, tempo: Fraction) -> Diagnostic:
    """What was done to `text` so that it fits: other `words`, or said faster by `tempo`, or both."""
    name, remedy = _NAMES_AND_REMEDIES.get(cue.phrase.key, _OTHERWISE)
    done = [f'shortened to "{_shown(words)}"'] if words != text else []
    if tempo != 1:
        done.append(f"spoken {ceil((tempo - 1) * 100)} % faster")
    message = f'{name} "{_shown(text)}" is too long for its place: it is {" and ".join(done)}'
    longer = f"a longer {cue.room.word} {cue.room.where}, or " if cue.room else ""
    return Diagnostic("warning", message, cue.place, f"{longer}{remedy}")


def _shown(text: str) -> str:
    return text if len(text) <= _QUOTED_CHARACTERS else text[: _QUOTED_CHARACTERS - 1] + "…"


def _fitting_room(misfit: Misfit, rate_hz: int) -> str | None:
    """The room in which a phrase fits, in words; None where no room would help."""
    room = misfit.cue.room
    if room is None or misfit.missing_frames is None:
        return None
    missing = frame_seconds(misfit.missing_frames, rate_hz)
    length = _whole_seconds(ceil(room.length.seconds + missing))
    return f"a {room.word} of {length} or more {room.where}"


def _fitting_point(cue: OwnLine, frames: int, lane: VoiceLane, rate_hz: int) -> str | None:
    """The point in its stretch at which a line of the coach's own fits; None if there is none."""
    start, mark = cue.stretch_start.to_frame(rate_hz), cue.mark.to_frame(rate_hz)
    end = cue.window.latest_end.to_frame(rate_hz)
    found = lane.nearest_start(frames, mark, start, end, end)
    if found is None:
        return None
    # The whole second before the place that is free: a line may begin so much late.
    return f"`at: {_whole_seconds(floor(frame_seconds(found - start, rate_hz)))}`"


def _whole_seconds(seconds: int) -> str:
    return duration_text(Duration(Fraction(seconds)))
