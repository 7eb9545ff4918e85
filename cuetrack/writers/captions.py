"""Arrangement → captions of what is spoken and sounded, as WebVTT (W3C) and as SRT.

Split and timed by the BBC's subtitle guidelines: lines of at most 37 characters, two of speech; 0.3 s a
word or more; nothing stays more than 1.5 s after its sound; a gap is 1 s or more, or none. Two seconds on
the screen where there is time (DCMP captioning key). No caption overlaps another.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, groupby, zip_longest
from math import ceil, floor

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.sound.tone_table import tone_spec
from cuetrack.timeline.cues import CountWord, TempoWord, kind_of
from cuetrack.writers.page_words import page_words
from cuetrack.writers.stamps import frame_milliseconds, stamp_text

_LINE_CHARACTERS, _SPEECH_LINES = 37, 2
_WORD_SECONDS = Fraction(3, 10)
_SHOWN_SECONDS = Fraction(2)
_LATE_SECONDS = Fraction(3, 2)
_LEAST_GAP_SECONDS = Fraction(1)
# What sounds so close together is one thing to a listener: a count. Common practice, no source. A little
# more than two whole seconds, which the clock of a recording may stretch.
_TOGETHER_SECONDS = Fraction(201, 100)
# A tone that lasts so long is heard as a long one: ours last 0.2 s or less, or 0.4 s or more.
_LONG_SECONDS = Fraction(3, 10)
_NO_STYLE = str.maketrans({"<": "<\u2060", "{": "\uff5b", "}": "\uff5d"})
_SENTENCE_END = re.compile(r"(?<=[.!?…]) ")


@dataclass(frozen=True, slots=True)
class Caption:
    """What is shown from `start_frame` until `end_frame`, line by line."""

    start_frame: int
    end_frame: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Sound:
    """What is heard from one frame until another: the lines of what is said, and of what sounds beside it."""

    start_frame: int
    end_frame: int
    said: tuple[str, ...]
    beside: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        return self.said + self.beside

    @property
    def words(self) -> int:
        return sum(len(line.split()) for line in self.lines)

    def together_with(self, other: _Sound) -> _Sound:
        end = max(self.end_frame, other.end_frame)
        beside = tuple(dict.fromkeys(self.beside + other.beside))
        return _Sound(self.start_frame, end, self.said + other.said, beside)


def captions_of(arrangement: Arrangement, *, music: bool = False) -> tuple[Caption, ...]:
    """The captions in order, none overlapping another; with `music` they tell where it begins."""
    rate_hz, placed = arrangement.rate_hz, arrangement.placed
    language = arrangement.timeline.session.language or "en"
    words = page_words(language)
    sounds = [
        *_spoken(placed),
        *_counted(placed, rate_hz),
        *_tones(placed, rate_hz, language),
        *_clicks(placed, words["sound-clicks"]),
        *_slates(placed, words["sound-slate"]),
        *(_bracketed(frame, frame, words["sound-music"]) for frame in _music_starts(arrangement) if music),
    ]
    return _timed(_one_at_a_time(sounds, rate_hz), rate_hz, arrangement.frames)


def webvtt(captions: Iterable[Caption], rate_hz: int) -> str:
    """The captions as a WebVTT file; every text is shown as it is written."""
    blocks = ["WEBVTT"]
    for number, caption in enumerate(captions, 1):
        text = "\n".join(caption.lines).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        blocks.append(f"{number}\n{_span(caption, rate_hz, '.')}\n{text}")
    return "\n\n".join(blocks) + "\n"


def srt(captions: Iterable[Caption], rate_hz: int) -> str:
    """The captions as SRT, which has no way to write what readers take for a style.

    So an invisible joiner (U+2060) follows each `<`, and braces are written as wide ones.
    """
    blocks = []
    for number, caption in enumerate(captions, 1):
        text = "\n".join(caption.lines).translate(_NO_STYLE)
        blocks.append(f"{number}\n{_span(caption, rate_hz, ',')}\n{text}\n")
    return "\n".join(blocks)


def _span(caption: Caption, rate_hz: int, separator: str) -> str:
    start, end = (
        stamp_text(frame_milliseconds(frame, rate_hz), separator)
        for frame in (caption.start_frame, caption.end_frame)
    )
    return f"{start} --> {end}"


def _bracketed(start_frame: int, end_frame: int, text: str) -> _Sound:
    return _Sound(start_frame, end_frame, (), tuple(_lines(f"[{text}]")))


def _spoken(placed: Sequence[Placed]) -> Iterator[_Sound]:
    """Every phrase, in pieces that fit a caption; each has the share of the sound that its letters are."""
    for one in placed:
        if one.text is None or isinstance(one.cue, CountWord):
            continue
        pieces = _pieces(one.text)
        letters, said = sum(map(len, chain(*pieces))), 0
        for piece in pieces:
            start = one.start_frame + one.frames * said // letters
            said += sum(map(len, piece))
            yield _Sound(start, one.start_frame + one.frames * said // letters, piece)


def _pieces(text: str) -> list[tuple[str, ...]]:
    """The text by whole sentences as far as they fit, each piece of no more than the lines of one caption."""
    pieces: list[str] = []
    for sentence in _SENTENCE_END.split(_plain(text)):
        joined = f"{pieces[-1]} {sentence}" if pieces else sentence
        if pieces and len(_lines(joined)) <= _SPEECH_LINES:
            pieces[-1] = joined
        else:
            pieces += _even_pieces(sentence)
    return [tuple(_lines(piece)) for piece in pieces]


def _even_pieces(sentence: str) -> list[str]:
    """A sentence in as few pieces as it needs, of about the same length, so that none is a word alone."""
    number = ceil(len(_lines(sentence)) / _SPEECH_LINES)
    most = _LINE_CHARACTERS * _SPEECH_LINES
    for width in range(min(most, ceil(len(sentence) / number)), most):
        pieces = textwrap.wrap(sentence, width)
        if len(pieces) <= number and all(len(_lines(piece)) <= _SPEECH_LINES for piece in pieces):
            return pieces
    lines = _lines(sentence)
    return [" ".join(lines[i : i + _SPEECH_LINES]) for i in range(0, len(lines), _SPEECH_LINES)]


def _plain(text: str) -> str:
    """The text on one line; an arrow that would end the times of a caption is spelled as one letter."""
    return " ".join(text.replace("-->", "→").split())


def _lines(text: str) -> list[str]:
    return textwrap.wrap(text, _LINE_CHARACTERS)


def _counted(placed: Sequence[Placed], rate_hz: int) -> Iterator[_Sound]:
    """Counted words, a count at a time, of a long one a line at a time."""
    words = [one for one in placed if isinstance(one.cue, CountWord)]
    for group in _close(words, rate_hz):
        line: list[Placed] = []
        for one in group:
            if line and (_ends_count(line[-1], one) or len(_said([*line, one])) > _LINE_CHARACTERS):
                yield _counted_line(line)
                line = []
            line.append(one)
        yield _counted_line(line)


def _counted_line(words: Sequence[Placed]) -> _Sound:
    last = words[-1]
    return _Sound(words[0].start_frame, last.start_frame + last.frames, tuple(_lines(_said(words))))


def _said(words: Sequence[Placed]) -> str:
    return _plain(", ".join((word.text or "").rstrip(".") for word in words))


def _ends_count(word: Placed, following: Placed) -> bool:
    """Whether a count downwards is over: by the word on its boundary, or since another begins."""
    if isinstance(word.cue, TempoWord):
        return False
    begins = _is_number(following) and following.cue.phase_index != word.cue.phase_index
    return begins or not _is_number(word)


def _is_number(word: Placed) -> bool:
    return isinstance(word.cue, CountWord) and word.cue.phrase.key == "number"


def _tones(placed: Sequence[Placed], rate_hz: int, language: str) -> Iterator[_Sound]:
    tones = [one for one in placed if kind_of(one.cue) == "tone"]
    for group in _close(tones, rate_hz):
        last = group[-1]
        text = _tones_text([one.tone or "" for one in group], language)
        yield _bracketed(group[0].start_frame, last.start_frame + last.frames, text)


def _tones_text(names: Sequence[str], language: str) -> str:
    """What a listener would call these tones: `three short tones, one long`."""
    words, said = page_words(language), list[str]()
    for is_long, group in groupby(names, key=lambda name: tone_spec(name).length_seconds >= _LONG_SECONDS):
        number, length = len(list(group)), "long" if is_long else "short"
        if number == 1:
            said.append(words[f"{'one' if said else 'tone'}-{length}"])
        else:
            said.append(words[f"tones-{length}"].format(_number(number, language)))
    return ", ".join(said)


def _number(number: int, language: str) -> str:
    from num2words import num2words

    return str(num2words(number, lang=language.replace("_", "-").split("-")[0].lower()))


def _clicks(placed: Sequence[Placed], text: str) -> Iterator[_Sound]:
    """Where the clicks of a phase begin; they are not told again while they go on."""
    clicks = (one for one in placed if kind_of(one.cue) == "click")
    for _, group in groupby(clicks, key=lambda one: one.cue.phase_index):
        first = next(group)
        yield _bracketed(first.start_frame, first.start_frame + first.frames, text)


def _slates(placed: Sequence[Placed], text: str) -> Iterator[_Sound]:
    for one in placed:
        if kind_of(one.cue) == "slate":
            yield _bracketed(one.start_frame, one.start_frame + one.frames, text)


def _music_starts(arrangement: Arrangement) -> Iterator[int]:
    """The frames on which music begins after silence."""
    ended = None
    for span in arrangement.timeline.bed:
        if span.start != ended:
            yield span.start.to_frame(arrangement.rate_hz)
        ended = span.end


def _close(placed: Sequence[Placed], rate_hz: int) -> Iterator[list[Placed]]:
    """Sounds in order, those together whose marks are no further apart than those of a count."""
    group: list[Placed] = []
    for one in sorted(placed, key=lambda one: one.start_frame):
        if group and one.mark_frame - group[-1].mark_frame > _TOGETHER_SECONDS * rate_hz:
            yield group
            group = []
        group.append(one)
    if group:
        yield group


def _one_at_a_time(sounds: Iterable[_Sound], rate_hz: int) -> list[_Sound]:
    """The sounds in order; one that begins while another is heard, or still read, is written with it."""
    apart: list[_Sound] = []
    for sound in sorted(sounds, key=lambda one: (one.start_frame, one.end_frame)):
        before = apart[-1] if apart else None
        if before is not None and sound.start_frame < max(before.end_frame, _read_by(before, rate_hz)):
            apart[-1] = before.together_with(sound)
        else:
            apart.append(sound)
    return apart


def _read_by(sound: _Sound, rate_hz: int) -> int:
    return sound.start_frame + ceil(sound.words * _WORD_SECONDS * rate_hz)


def _timed(sounds: Sequence[_Sound], rate_hz: int, frames: int) -> tuple[Caption, ...]:
    """How long each is shown: while it sounds, and longer if it needs that and there is time."""
    captions = []
    for sound, following in zip_longest(sounds, sounds[1:]):
        free_until = frames if following is None else following.start_frame
        wanted = max(sound.start_frame + ceil(_SHOWN_SECONDS * rate_hz), _read_by(sound, rate_hz))
        latest = sound.end_frame + floor(_LATE_SECONDS * rate_hz)
        end = max(sound.end_frame, min(wanted, latest))
        if free_until - end < _LEAST_GAP_SECONDS * rate_hz:
            end = min(free_until, latest) if free_until > sound.end_frame else free_until
        captions.append(Caption(sound.start_frame, min(end, free_until), sound.lines))
    return tuple(captions)
