"""Timeline and the measured lengths of its sounds → arrangement; positions are rounded here, once.

Tones stand on their marks and counted words on their perceived onset. The other spoken cues never
overlap: in the order of their priority, those that give way last, each takes the place nearest to
where it wants to be, inside its window. The words of a tempo stand on their marks as well, but only
where nothing else is said to the class; how many are left out is told once.

What finds no place there as it is, is spoken faster, then in its terse wording, then both. It is moved
first because that costs a listener nothing: anywhere in its window a phrase is as true and as clear,
while a hurried one is harder to follow and a terse one says less. One that finds no room at all is
refused on the coach's line, or, if it gives way, left out with a warning.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from cuetrack.conform.arrangement import Arrangement, Placed, Shortage, speech_key, tone_key
from cuetrack.conform.lane import VoiceLane
from cuetrack.conform.misfits import (
    Misfit,
    Rendition,
    diagnostic_of,
    left_out_note,
    prompts_note,
    shortened_note,
    tempo_note,
)
from cuetrack.errors import ConformError, Diagnostic, Place
from cuetrack.sound.tone_table import tone_frames
from cuetrack.speech.length import SpokenLength
from cuetrack.timebase import Instant, frame_seconds, seconds_text
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import (
    CountWord,
    Movable,
    Phrase,
    Priority,
    Prompt,
    TempoWord,
    ToneCue,
    Wordless,
)

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
        self._warnings = dict.fromkeys(timeline.notes)
        # One line of a plan can fail in many rounds, in words that take turns: the worst is reported.
        self._misfits: dict[object, Misfit] = {}
        self._prompts_left_out = 0

    def arrangement(self) -> Arrangement:
        counted: list[CountWord] = []
        paced: list[TempoWord] = []
        movable: list[tuple[Movable, str]] = []
        for cue in self._timeline.cues:
            if isinstance(cue, Wordless):
                self._place_tone(cue)
            elif isinstance(cue, TempoWord):
                paced.append(cue)
            elif isinstance(cue, CountWord):
                counted.append(cue)
            elif text := self._text_of(cue.phrase):
                movable.append((cue, text))
        self._place_counts(counted)
        movable.sort(key=_rank)  # stable: in order of marks
        for call, text in movable:
            if not isinstance(call, Prompt):
                self._place_spoken(call, text)
        self._place_tempo_words(paced)
        for call, text in movable:
            if isinstance(call, Prompt):
                self._place_spoken(call, text)
        self._tell_misfits()
        if self._errors:
            raise ConformError(self._errors)
        placed = sorted(self._placed, key=lambda p: (p.start_frame, p.mark_frame, p.sound))
        warnings, shortages = tuple(self._warnings), tuple(self._shortages())
        return Arrangement(self._timeline, self._rate_hz, self._end, tuple(placed), warnings, shortages)

    def _shortages(self) -> Iterator[Shortage]:
        for misfit in self._misfits.values():
            if misfit.missing_frames is not None and misfit.missing_frames > 0:
                seconds = frame_seconds(misfit.missing_frames, self._rate_hz)
                yield Shortage(misfit.cue.phase_index, seconds)

    def _tell_misfits(self) -> None:
        found = self._warnings if self._estimated else self._errors
        for misfit in self._misfits.values():
            if isinstance(misfit.cue, Movable) and misfit.cue.gives_way:
                self._warnings[left_out_note(misfit)] = None
            else:
                found[diagnostic_of(misfit, self._lane, self._rate_hz, estimated=self._estimated)] = None
        if self._prompts_left_out:
            self._warnings[prompts_note(self._prompts_left_out)] = None

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
        for (cue, text), following in zip(words, [*starts, None][1:], strict=True):
            end = self._frame(cue.window.latest_end)
            self._place_count(cue, text, end if following is None else min(end, following))

    def _place_count(self, cue: CountWord, text: str, end: int) -> None:
        """Speaks a word that has to be over by `end`: as usual, or faster."""
        mark, usual = self._frame(cue.mark), self._lengths[text]
        # The word before it may be spoken until where it usually begins.
        earliest = max(self._frame(cue.window.earliest), mark - usual.onset_frames)
        for tempo, length in self._paces(text, end - mark):
            start = mark - length.onset_frames
            early, late = earliest - start, start + length.frames - end
            if early <= 0 and late <= 0:
                self._speak(cue, Rendition(text, tempo, length.frames), start)
                return
        # More time before a count helps the word that begins too early, but no word that ends too late.
        missing = late if cue.closes else early if tempo == _USUAL else 0
        last = Rendition(text, tempo, length.frames)
        over = max(early, late)
        self._refuse(Misfit(cue, text, usual.frames, last, over, missing if missing > 0 else None))

    def _place_tempo_words(self, cues: Iterable[TempoWord]) -> None:
        """On their marks, or left out; a breath parts them from all others, but not from each other."""
        words = [(cue, text) for cue in cues if (text := self._text_of(cue.phrase))]
        starts = [self._frame(cue.mark) - self._lengths[text].onset_frames for cue, text in words]
        placed: list[tuple[TempoWord, Rendition, int]] = []
        left_out: dict[Place | None, list[TempoWord]] = {}
        for (cue, text), following in zip(words, [*starts, None][1:], strict=True):
            end = self._frame(cue.window.latest_end)
            found = self._beside_others(cue, text, end if following is None else min(end, following))
            if found is None:
                left_out.setdefault(cue.place, []).append(cue)
            else:
                placed.append((cue, *found))
        for cue, said, start in placed:
            self._speak(cue, said, start)
        numbers = Counter(cue.place for cue, _ in words)
        for place, missing in left_out.items():
            self._warnings[tempo_note(missing, numbers[place])] = None

    def _beside_others(self, cue: TempoWord, text: str, end: int) -> tuple[Rendition, int] | None:
        """How, as usual or faster, a tempo word is over by `end`, and its start; None where others speak."""
        mark, earliest = self._frame(cue.mark), self._frame(cue.window.earliest)
        for tempo, length in self._paces(text, end - mark):
            start = mark - length.onset_frames
            over = start + length.frames
            free = self._lane.nearest_start(length.frames, start, start, over, start) is not None
            if start >= earliest and over <= end and free:
                return Rendition(text, tempo, length.frames), start
        return None

    def _paces(self, text: str, room: int) -> Iterator[tuple[Fraction, SpokenLength]]:
        """A counted word as usual, then so much faster that what follows its onset may fit `room`."""
        usual = self._lengths[text]
        yield _USUAL, usual
        if self._shortening is not None:
            # The onset comes sooner too, the faster a word is spoken.
            for tempo in _tempos(usual.frames - usual.onset_frames, room, FASTEST_COUNT):
                yield tempo, self._shortening.length_at(text, tempo)

    def _place_spoken(self, cue: Movable, text: str) -> None:
        window = cue.window
        earliest, latest_end = self._frame(window.earliest), self._frame(window.latest_end)
        latest_start = latest_end if window.latest_start is None else self._frame(window.latest_start)
        longest, tried = self._lane.longest_free(earliest, latest_end, latest_start), list[Rendition]()
        for said in self._renditions(cue, text, longest):
            wanted = self._frame(cue.wanted) - (said.frames if cue.wanted_edge == "end" else 0)
            start = self._lane.nearest_start(said.frames, wanted, earliest, latest_end, latest_start)
            if start is not None:
                self._speak(cue, said, start)
                if (said.words, said.tempo) != (text, _USUAL):
                    self._warnings[shortened_note(cue, text, said)] = None
                return
            tried.append(said)
        self._refuse(self._misfit(cue, text, min(tried, key=lambda said: said.frames), longest))

    def _misfit(self, cue: Movable, text: str, shortest: Rendition, longest: int) -> Misfit:
        frames, window = self._lengths[text].frames, cue.window
        if cue.room is None:
            return Misfit(cue, text, frames, shortest, shortest.frames - longest, None)
        growing = self._lane.growing_stretch(self._frame(window.earliest), self._frame(window.latest_end))
        missing = shortest.frames - (0 if cue.room.is_new else growing)
        over = shortest.frames - (longest or min(growing, 0))
        return Misfit(cue, text, frames, shortest, over, missing)

    def _renditions(self, cue: Movable, text: str, longest: int) -> Iterator[Rendition]:
        """As usual; then faster, then terse, then both, for `longest` frames."""
        yield Rendition(text, _USUAL, self._lengths[text].frames)
        if self._shortening is None or cue.gives_way:
            return
        for words in dict.fromkeys((text, self._shortening.terse(cue.phrase))):
            usual = self._shortening.length_at(words, _USUAL).frames
            for tempo in (_USUAL, *_tempos(usual, longest, FASTEST_CALL)):
                yield Rendition(words, tempo, self._shortening.length_at(words, tempo).frames)

    def _speak(self, cue: CountWord | Movable, said: Rendition, start: int) -> None:
        self._lane.take(start, start + said.frames)
        key = speech_key(said.words, said.tempo, soft=isinstance(cue, TempoWord))
        mark = self._frame(cue.mark)
        self._placed.append(Placed(key, start, said.frames, mark, cue, said.words, said.tempo))

    def _refuse(self, misfit: Misfit) -> None:
        if isinstance(misfit.cue, Prompt):
            self._prompts_left_out += 1
            return
        known = self._misfits.get(misfit.key)
        if known is None or known.extent < misfit.extent:
            self._misfits[misfit.key] = misfit


def _rank(item: tuple[Movable, str]) -> tuple[bool, Priority]:
    """What is built in and gives way is placed after everything that a coach wrote."""
    cue, _ = item
    return cue.gives_way, cue.priority


def _tempos(frames: int, room: int, fastest: Fraction) -> Iterator[Fraction]:
    """The slowest tempo, in hundredths, at which `frames` fit into `room`, and on up to `fastest`.

    On, because a faster clip has frames and an onset of its own; `fastest` also where it is too slow.
    """
    if frames <= room:
        return
    slowest = fastest if room <= 0 else min(fastest, Fraction(ceil(Fraction(100 * frames, room)), 100))
    for hundredths in range(int(100 * slowest), int(100 * fastest) + 1):
        yield Fraction(hundredths, 100)
