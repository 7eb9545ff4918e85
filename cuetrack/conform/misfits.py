"""What does not fit → diagnostics on the coach's lines: by how much, and what would fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from cuetrack.conform.lane import VoiceLane
from cuetrack.errors import Diagnostic
from cuetrack.timebase import Duration, duration_text, frame_seconds, seconds_text
from cuetrack.timeline.cues import CountWord, Movable, OwnLine, TempoWord

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
    "series-day": ("the day of the series", "write `numbered: off` in the series"),
    "well-done": ("the praise", "write `praise: off`"),
    "as-written": ("the line", "shorten the text"),
}
_OTHERWISE = ("the phrase", "shorten the text")


@dataclass(frozen=True, slots=True)
class Rendition:
    """A way to say a phrase: the words, how many times as fast as usual, and how many frames it takes."""

    words: str
    tempo: Fraction
    frames: int


@dataclass(frozen=True, slots=True)
class Misfit:
    """A phrase that does not fit: by how many frames it is too long, and its room too short.

    `frames` is what `text` takes as usual. The other two count from `shortest`, the shortest way of
    saying it that was tried; `missing_frames` is None where more room would not help.
    """

    cue: CountWord | Movable
    text: str
    frames: int
    shortest: Rendition
    over_frames: int
    missing_frames: int | None

    @property
    def key(self) -> object:
        """Equal for what one change of a line would help, however it is worded."""
        room = self.cue.room
        where = None if room is None or self.missing_frames is None else (room.word, room.where)
        return self.cue.place or self.text, _name_and_remedy(self.cue), where

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
    name, remedy = _name_and_remedy(cue)
    about = "about " if estimated else ""
    takes, over = (
        about + seconds_text(frame_seconds(frames, rate_hz)) for frames in (misfit.frames, misfit.over_frames)
    )
    # Where not even its beginning has a place, more is missing than it is long.
    is_long = misfit.over_frames < misfit.shortest.frames
    lacks = f", {over} too long" if is_long else f", and {over} more are needed"
    if how := _how(text, misfit.shortest):
        lacks = f", and even {how} " + (f"it is {over} too long" if is_long else f"{over} more are needed")
    message = f'{name} "{_shown(text)}" takes {takes}{lacks}'
    fits = _fitting_point(misfit, lane, rate_hz) or _fitting_room(misfit, rate_hz)
    hint = f"{fits} fits it; or {remedy}" if fits else remedy
    return Diagnostic("warning" if estimated else "error", message, cue.place, hint)


def left_out_note(misfit: Misfit) -> Diagnostic:
    """That a phrase which gives way has no place and is not spoken."""
    name, remedy = _name_and_remedy(misfit.cue)
    message = f'no room for {name} "{_shown(misfit.text)}", which is built in; it is left out'
    return Diagnostic("warning", message, misfit.cue.place, remedy)


def tempo_note(left_out: Sequence[TempoWord], number: int) -> Diagnostic:
    """That some of the `number` words of one tempo give way."""
    it_is = "it is" if len(left_out) == 1 else "they are"
    message = f"{len(left_out)} of the {number} words of this tempo have no room beside what else is said;"
    counted = all(cue.phrase.key == "number" for cue in left_out)
    hint = "a slower tempo, or fewer calls" if counted else "`by: tones` needs no room"
    return Diagnostic("warning", f"{message} {it_is} left out", left_out[0].place, hint)


def prompts_note(number: int) -> Diagnostic:
    """That so many prompts have no place beside what the class hears."""
    prompts, have = ("1 prompt", "has") if number == 1 else (f"{number} prompts", "have")
    message = f"{prompts} for the coach alone {have} no room beside what the class hears: left out"
    return Diagnostic("warning", message, None, "longer work or rests make room, and so do shorter texts")


def shortened_note(cue: Movable, text: str, said: Rendition) -> Diagnostic:
    """How `text` is `said` instead, so that it fits."""
    name, remedy = _name_and_remedy(cue)
    how = _how(text, said, quoting=True)
    message = f'{name} "{_shown(text)}" is too long for its place: it is {how}'
    longer = f"a longer {cue.room.word} {cue.room.where}, or " if cue.room else ""
    return Diagnostic("warning", message, cue.place, f"{longer}{remedy}")


def _name_and_remedy(cue: CountWord | Movable) -> tuple[str, str]:
    return _NAMES_AND_REMEDIES.get(cue.phrase.key, _OTHERWISE)


def _how(text: str, said: Rendition, *, quoting: bool = False) -> str:
    """What was done to `text`: other words, or a faster tempo, or both; empty if nothing was."""
    other = f'shortened to "{_shown(said.words)}"' if quoting else "shortened"
    done = [other] if said.words != text else []
    if said.tempo != 1:
        done.append(f"spoken {ceil((said.tempo - 1) * 100)} % faster")
    return " and ".join(done)


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


def _fitting_point(misfit: Misfit, lane: VoiceLane, rate_hz: int) -> str | None:
    """The point in its stretch at which a line of the coach's own fits; None if there is none."""
    cue = misfit.cue
    if not isinstance(cue, OwnLine):
        return None
    start, mark = cue.stretch_start.to_frame(rate_hz), cue.mark.to_frame(rate_hz)
    end = cue.window.latest_end.to_frame(rate_hz)
    # As it is usually said, if it can be.
    for frames in (misfit.frames, misfit.shortest.frames):
        found = lane.nearest_start(frames, mark, start, end, end)
        if found is not None:
            # The whole second before the place that is free: a line may begin so much late.
            return f"`at: {_whole_seconds(floor(frame_seconds(found - start, rate_hz)))}`"
    return None


def _whole_seconds(seconds: int) -> str:
    return duration_text(Duration(Fraction(seconds)))
