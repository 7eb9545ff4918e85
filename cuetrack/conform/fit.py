"""Timeline and the measured lengths of its sounds → arrangement; positions are rounded here, once.

Tones stand on their marks and counted words on their perceived onset. The other spoken cues never
overlap: in the order of their priority each takes the place nearest to where it wants to be, inside
its window; one that finds no room is refused on the coach's line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from cuetrack.conform.arrangement import Arrangement, Placed, speech_key, tone_key
from cuetrack.conform.lane import VoiceLane
from cuetrack.conform.misfits import Misfit, diagnostic_of, shortened_note
from cuetrack.errors import ConformError, Diagnostic
from cuetrack.sound.tone_table import tone_frames
from cuetrack.speech.length import SpokenLength
from cuetrack.timebase import Instant, frame_seconds, seconds_text
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import CountWord, Movable, Phrase, ToneCue, Wordless

# Between two phrases that may move. Common practice, no source.
BREATH = Instant(Fraction(3, 20))


# How much faster an announcement, and a counted word, may be spoken so that it fits.
FASTEST_CALL, FASTEST_COUNT = Fraction(115, 100), Fraction(3, 2)
_USUAL = Fraction(1)


@dataclass(frozen=True, slots=True)
class Shortening:
    """The ways to make a phrase shorter, asked only for one that does not fit.

    `terse` words a phrase with the least that is understood; `length_at` is the length of a text that
    is spoken so many times as fast as usual.
    """

    terse: Callable[[Phrase], str]
    length_at: Callable[[str, Fraction], SpokenLength]


def arranged(
    timeline: Timeline,
    text_of: Callable[[Phrase], str],
    lengths: Mapping[str, SpokenLength],
    rate_hz: int,
    *,
    shortening: Shortening | None = None,
    estimated: bool = False,
) -> Arrangement:
    """The arrangement of `timeline` at `rate_hz`.

    Args:
        timeline: what is to sound.
        text_of: words a phrase; an empty text is not spoken.
        lengths: by text, the length and perceived onset of each phrase at `rate_hz`.
        rate_hz: sample rate of the programme.
        shortening: what a phrase that does not fit becomes before it is refused: faster, terser.
        estimated: the lengths are no measurements, so what does not fit is a warning and left out.

    Raises:
        ConformError: every sound that does not fit, each on the coach's line.
    """
    return _Fitting(timeline, text_of, lengths, rate_hz, shortening, estimated).arrangement()


class _Fitting:
    def __init__(
        self,
        timeline: Timeline,
        text_of: Callable[[Phrase], str],
        lengths: Mapping[str, SpokenLength],
        rate_hz: int,
        shortening: Shortening | None,
        estimated: bool,
    ) -> None:
        self._timeline = timeline
        self._text_of = text_of
        self._lengths = lengths
        self._rate_hz = rate_hz
        self._shortening = shortening
        self._estimated = estimated
        self._lane = VoiceLane(BREATH.to_frame(rate_hz))
        self._end = timeline.end.to_frame(rate_hz)
        self._placed: list[Placed] = []
        self._errors: dict[Diagnostic, None] = {}
        self._warnings: dict[Diagnostic, None] = {}
        # One line of a plan can fail in many rounds: the worst of them is reported.
        self._misfits: dict[object, Misfit] = {}

    def arrangement(self) -> Arrangement:
        counted: list[CountWord] = []
        movable: list[tuple[Movable, str]] = []
        for cue in self._timeline.cues:
            if isinstance(cue, Wordless):
                self._place_tone(cue)
            elif isinstance(cue, CountWord):
                counted.append(cue)
            elif text := self._text_of(cue.phrase):
                movable.append((cue, text))
        self._place_counts(counted)
        for call, text in sorted(movable, key=lambda item: item[0].priority):  # stable: in order of marks
            self._place_spoken(call, text)
        found = self._warnings if self._estimated else self._errors
        for misfit in self._misfits.values():
            found[diagnostic_of(misfit, self._lane, self._rate_hz, estimated=self._estimated)] = None
        if self._errors:
            raise ConformError(self._errors)
        placed = sorted(self._placed, key=lambda p: (p.start_frame, p.mark_frame, p.sound))
        return Arrangement(self._timeline, self._rate_hz, self._end, tuple(placed), tuple(self._warnings))

    def _frame(self, instant: Instant) -> int:
        return instant.to_frame(self._rate_hz)

    def _place_tone(self, cue: Wordless) -> None:
        start, frames = self._frame(cue.mark), tone_frames(cue.sound, self._rate_hz)
        over = start + frames - self._end
        if over > 0:
            past = seconds_text(frame_seconds(over, self._rate_hz))
            message = f"the tone {cue.sound} sounds {past} past the session's end"
            hint = f"`lead-out: {ceil(frame_seconds(frames, self._rate_hz))}s` leaves room for it"
            self._errors[Diagnostic("error", message, cue.place, hint)] = None
            return
        key = tone_key(cue.sound, under_words=isinstance(cue, ToneCue) and cue.under_words)
        self._placed.append(Placed(key, start, frames, start, cue))

    def _place_counts(self, cues: Iterable[CountWord]) -> None:
        """Counts stand on their marks; of two that overlap, the first is too long."""
        words = [(cue, text) for cue in cues if (text := self._text_of(cue.phrase))]
        starts = [self._frame(cue.mark) - self._lengths[text].onset_frames for cue, text in words]
        for (cue, text), start, following in zip(words, starts, [*starts, None][1:], strict=True):
            frames = self._lengths[text].frames
            end = self._frame(cue.window.latest_end)
            end = end if following is None else min(end, following)
            early, late = self._frame(cue.window.earliest) - start, start + frames - end
            if early <= 0 and late <= 0:
                self._speak(cue, text, start, frames)
                continue
            if early <= 0 and self._count_faster(cue, text, end):
                continue
            # More time before a count helps the word that begins too early, but no word that ends too late.
            missing = late if cue.closes else early
            self._refuse(Misfit(cue, text, frames, max(early, late), missing if missing > 0 else None))

    def _count_faster(self, cue: CountWord, text: str, end: int) -> bool:
        """Whether a word that is too long for its second could be spoken faster, and was."""
        if self._shortening is None:
            return False
        mark, usual = self._frame(cue.mark), self._lengths[text]
        for tempo in _tempos(usual.frames, end - (mark - usual.onset_frames), FASTEST_COUNT):
            length = self._shortening.length_at(text, tempo)
            start = mark - length.onset_frames
            if self._frame(cue.window.earliest) <= start and start + length.frames <= end:
                self._speak(cue, text, start, length.frames, tempo)
                return True
        return False

    def _place_spoken(self, cue: Movable, text: str) -> None:
        window, frames = cue.window, self._lengths[text].frames
        earliest, latest_end = self._frame(window.earliest), self._frame(window.latest_end)
        latest_start = latest_end if window.latest_start is None else self._frame(window.latest_start)
        longest = self._lane.longest_free(earliest, latest_end, latest_start)
        for words, tempo, length in self._renditions(cue, text, longest):
            wanted = self._frame(cue.wanted) - (length if cue.wanted_edge == "end" else 0)
            start = self._lane.nearest_start(length, wanted, earliest, latest_end, latest_start)
            if start is not None:
                self._speak(cue, words, start, length, tempo)
                if (words, tempo) != (text, _USUAL):
                    self._warnings[shortened_note(cue, text, words, tempo)] = None
                return
        if cue.room is None:
            self._refuse(Misfit(cue, text, frames, frames - longest, None))
            return
        growing = self._lane.growing_stretch(earliest, latest_end)
        missing = frames - (0 if cue.room.is_new else growing)
        self._refuse(Misfit(cue, text, frames, frames - (longest or min(growing, 0)), missing))

    def _renditions(self, cue: Movable, text: str, longest: int) -> Iterator[tuple[str, Fraction, int]]:
        """Words, tempo and frames: as usual; then faster, then terse, then both, for `longest` frames."""
        yield text, _USUAL, self._lengths[text].frames
        if self._shortening is None or cue.gives_way:
            return
        for words in dict.fromkeys((text, self._shortening.terse(cue.phrase))):
            usual = self._shortening.length_at(words, _USUAL).frames
            for tempo in (_USUAL, *_tempos(usual, longest, FASTEST_CALL)):
                yield words, tempo, self._shortening.length_at(words, tempo).frames

    def _speak(
        self, cue: CountWord | Movable, text: str, start: int, frames: int, tempo: Fraction = _USUAL
    ) -> None:
        self._lane.take(start, start + frames)
        key, mark = speech_key(text, tempo), self._frame(cue.mark)
        self._placed.append(Placed(key, start, frames, mark, cue, text, tempo))

    def _refuse(self, misfit: Misfit) -> None:
        cue, text = misfit.cue, misfit.text
        if not isinstance(cue, CountWord) and cue.gives_way:
            message = f"no room for the built-in call {text!r}; it is left out"
            hint = "`finish: {warn: off}` says that it is not wanted"
            self._warnings[Diagnostic("warning", message, cue.place, hint)] = None
            return
        known = self._misfits.get(misfit.key)
        if known is None or known.extent < misfit.extent:
            self._misfits[misfit.key] = misfit


def _tempos(frames: int, room: int, fastest: Fraction) -> Iterator[Fraction]:
    """The slowest tempo, in hundredths, at which `frames` fit into `room`, and the next; up to `fastest`.

    The next one, because a faster clip is rounded to frames of its own rate.
    """
    if room <= 0 or frames <= room:
        return
    slowest = Fraction(ceil(Fraction(100 * frames, room)), 100)
    for tempo in (slowest, slowest + Fraction(1, 100)):
        if tempo <= fastest:
            yield tempo
