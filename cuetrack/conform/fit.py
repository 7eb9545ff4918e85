"""Timeline and the measured lengths of its sounds → arrangement; positions are rounded here, once.

Tones stand on their marks and counted words on their perceived onset. The other spoken cues never
overlap: in the order of their priority each takes the place nearest to where it wants to be, inside
its window; one that finds no room is refused on the coach's line.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from cuetrack.conform.arrangement import SPEECH_KEY, TONE_KEY, Arrangement, Placed
from cuetrack.conform.lane import VoiceLane, nearest_start
from cuetrack.errors import ConformError, Diagnostic, Place
from cuetrack.sound.tone_table import tone_frames
from cuetrack.speech.length import SpokenLength
from cuetrack.timebase import Duration, Instant, duration_text, frame_seconds, seconds_text
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import CountWord, Movable, Phrase, Priority, Room, Wordless

# Between two phrases that may move. Common practice, no source.
BREATH = Instant(Fraction(3, 20))

_CALLED = {
    Priority.COUNT: "the count",
    Priority.CHANGE_OF_SIDE: "the change of side",
    Priority.STAGE: "the stage call",
    Priority.WARNING: "the call",
    Priority.ANNOUNCEMENT: "the announcement",
    Priority.FREE: "the line",
}


def arranged(
    timeline: Timeline,
    text_of: Callable[[Phrase], str],
    lengths: Mapping[str, SpokenLength],
    rate_hz: int,
    *,
    estimated: bool = False,
) -> Arrangement:
    """The arrangement of `timeline` at `rate_hz`.

    Args:
        timeline: what is to sound.
        text_of: words a phrase; an empty text is not spoken.
        lengths: by text, the length and perceived onset of each phrase at `rate_hz`.
        rate_hz: sample rate of the programme.
        estimated: the lengths are no measurements, so what does not fit is a warning and left out.

    Raises:
        ConformError: every sound that does not fit, each on the coach's line.
    """
    return _Fitting(timeline, text_of, lengths, rate_hz, estimated).arrangement()


@dataclass(frozen=True, slots=True)
class _Misfit:
    """A sound that does not fit, and by how many frames."""

    priority: Priority
    text: str
    frames: int
    short_frames: int
    room: Room
    place: Place | None


class _Fitting:
    def __init__(
        self,
        timeline: Timeline,
        text_of: Callable[[Phrase], str],
        lengths: Mapping[str, SpokenLength],
        rate_hz: int,
        estimated: bool,
    ) -> None:
        self._timeline = timeline
        self._text_of = text_of
        self._lengths = lengths
        self._rate_hz = rate_hz
        self._estimated = estimated
        self._lane = VoiceLane()
        self._end = timeline.end.to_frame(rate_hz)
        self._breath = BREATH.to_frame(rate_hz)
        self._placed: list[Placed] = []
        self._errors: dict[object, Diagnostic] = {}
        self._warnings: dict[object, Diagnostic] = {}
        # One line of a plan can fail in many rounds: the worst of them is reported.
        self._misfits: dict[tuple[Place | None, str], _Misfit] = {}

    def arrangement(self) -> Arrangement:
        spoken: list[CountWord | Movable] = []
        for cue in self._timeline.cues:
            if isinstance(cue, Wordless):
                self._place_tone(cue)
            else:
                spoken.append(cue)
        for word in sorted(spoken, key=lambda cue: cue.priority):  # stable: each in order of marks
            text = self._text_of(word.phrase)
            if not text:
                continue
            if isinstance(word, CountWord):
                self._place_count(word, text)
            else:
                self._place_spoken(word, text)
        for misfit in self._misfits.values():
            self._report(misfit)
        if self._errors:
            raise ConformError(self._errors.values())
        placed = sorted(self._placed, key=lambda p: (p.start_frame, p.mark_frame, p.sound))
        warnings = tuple(self._warnings.values())
        return Arrangement(self._timeline, self._rate_hz, self._end, tuple(placed), warnings)

    def _frame(self, instant: Instant) -> int:
        return instant.to_frame(self._rate_hz)

    def _place_tone(self, cue: Wordless) -> None:
        start, frames = self._frame(cue.mark), tone_frames(cue.sound, self._rate_hz)
        over = start + frames - self._end
        if over > 0:
            message = f"the tone {cue.sound} sounds {self._length_text(over)} past the session's end"
            hint = f"`lead-out: {self._seconds_up(frames)}s` leaves room for it"
            self._errors[cue.place, message] = Diagnostic("error", message, cue.place, hint)
            return
        self._placed.append(Placed(TONE_KEY + cue.sound, start, frames, start, cue))

    def _place_count(self, cue: CountWord, text: str) -> None:
        length, mark = self._lengths[text], self._frame(cue.mark)
        start = mark - length.onset_frames
        end = start + length.frames
        over = max(
            self._frame(cue.window.earliest) - start,
            end - self._frame(cue.window.latest_end),
            self._lane.overlap(start, end),
        )
        if over > 0:
            self._misfit(cue, text, length.frames, over)
            return
        self._speak(cue, text, start, length.frames, mark)

    def _place_spoken(self, cue: Movable, text: str) -> None:
        frames, window = self._lengths[text].frames, cue.window
        earliest, latest_end = self._frame(window.earliest), self._frame(window.latest_end)
        latest_start = latest_end - frames
        if window.latest_start is not None:
            latest_start = min(latest_start, self._frame(window.latest_start))
        wanted = self._frame(cue.wanted) - (frames if cue.wanted_edge == "end" else 0)
        free = list(self._lane.free_stretches(earliest, latest_end, self._breath))
        starts = [nearest_start(stretch, frames, wanted, latest_start) for stretch in free]
        possible = [start for start in starts if start is not None]
        if possible:
            start = min(possible, key=lambda start: (abs(start - wanted), start))
            self._speak(cue, text, start, frames, self._frame(cue.mark))
            return
        in_time = [s for s in free if window.latest_start is None or s[0] <= latest_start]
        room = max((end - start for start, end in in_time), default=0)
        self._misfit(cue, text, frames, frames - room)

    def _speak(self, cue: CountWord | Movable, text: str, start: int, frames: int, mark: int) -> None:
        self._lane.take(start, start + frames)
        self._placed.append(Placed(SPEECH_KEY + text, start, frames, mark, cue))

    # What does not fit

    def _misfit(self, cue: CountWord | Movable, text: str, frames: int, short: int) -> None:
        if not isinstance(cue, CountWord) and cue.gives_way:
            message = f"no room for the built-in call {text!r}; it is left out"
            hint = "`finish: {warn: off}` says that it is not wanted"
            self._warnings[cue.place, text] = Diagnostic("warning", message, cue.place, hint)
            return
        known = self._misfits.get((cue.place, text))
        if known is None or known.short_frames < short:
            misfit = _Misfit(cue.priority, text, frames, short, cue.room, cue.place)
            self._misfits[cue.place, text] = misfit

    def _report(self, misfit: _Misfit) -> None:
        takes, short = self._length_text(misfit.frames), self._length_text(misfit.short_frames)
        about = "about " if self._estimated else ""
        quoted = misfit.text if len(misfit.text) <= 60 else misfit.text[:59] + "…"
        message = f'{_CALLED[misfit.priority]} "{quoted}" takes {about}{takes}, {about}{short} too long'
        fits = misfit.room.length.seconds + frame_seconds(misfit.short_frames, self._rate_hz)
        longer = f"a {misfit.room.word} of {duration_text(Duration(Fraction(ceil(fits))))} or more fits it"
        other = "count less, or by tones" if misfit.priority is Priority.COUNT else "shorten the text"
        hint, key = f"{longer}; or {other}", (misfit.place, misfit.text)
        if self._estimated:
            self._warnings[key] = Diagnostic("warning", message, misfit.place, hint)
        else:
            self._errors[key] = Diagnostic("error", message, misfit.place, hint)

    def _length_text(self, frames: int) -> str:
        return seconds_text(frame_seconds(frames, self._rate_hz))

    def _seconds_up(self, frames: int) -> int:
        return ceil(frame_seconds(frames, self._rate_hz))
