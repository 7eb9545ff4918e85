"""A tempo and a mood → the built-in bed: one phrase of 32 counts, made once and repeated without end.

Every stroke of a drum or the bass stands on the frame nearest to its exact time since the first count one,
in every phrase: nothing is the sum of rounded beats. Chords swell in and begin with their phrase.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound import instruments
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.sound.pulse_moods import (
    BARS_A_CHORD,
    COUNTS,
    COUNTS_IN_BAR,
    MOODS,
    OCTAVE_ABOVE,
    STEPS_IN_COUNT,
    STRENGTHS_DB,
    Mood,
    Part,
)
from cuetrack.sound.units import db_to_linear
from cuetrack.timebase import Instant

_STEPS_IN_BAR = COUNTS_IN_BAR * STEPS_IN_COUNT
_BARS = COUNTS // COUNTS_IN_BAR
_STEPS = _BARS * _STEPS_IN_BAR
_STEPS_A_CHORD = BARS_A_CHORD * _STEPS_IN_BAR
# How far snare and hat are turned to a side: the bass and the kick stay in the middle.
_HAT_PAN, _SNARE_PAN = 0.25, -0.1
# One chord gives way to the next; the last of a phrase ends with it, for a breath.
_CHORD_FADE_SECONDS = 0.4
_LONGEST_BASS_SECONDS = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class _Stroke:
    """What sounds from an exact time in the phrase, in frames; its samples have shape (frames, channels)."""

    time: Fraction
    samples: NDArray[np.float32]

    def frame(self, later: Fraction | int = 0) -> int:
        """The frame nearest to its time, or to one a little `later`."""
        return Instant(self.time + later).to_frame(1)


class Phrase:
    """A phrase as it is repeated, and how loud it is; made once for any number of pulses.

    `frames` is its exact length. `samples` is the phrase whose first frame is exactly its count one, among
    its like: float32, shape (frames, channels), `frames` rounded up.

    Args:
        bpm: 20 to 300.
        mood: a name of `MOODS`.
        rate_hz: 8000 or more.
        channels: 1 or 2.
    """

    def __init__(self, bpm: Fraction, mood: str, rate_hz: int, channels: int) -> None:
        self._rate_hz, self._channels = rate_hz, channels
        self._step = Fraction(60 * rate_hz, STEPS_IN_COUNT) / bpm
        self.frames = self._step * _STEPS
        strokes = [*self._drums(MOODS[mood]), *self._bass(MOODS[mood])]
        self._strokes = sorted(strokes, key=lambda stroke: stroke.time)
        self._stroke_frames = [stroke.frame() for stroke in self._strokes]
        self._longest = max((len(stroke.samples) for stroke in self._strokes), default=0)
        self.samples = np.zeros((ceil(self.frames), channels), np.float32)
        self._add_chords(MOODS[mood])
        for stroke in self._strokes:
            # What rings on at the end of a phrase is heard at the beginning of the next.
            for start in (stroke.frame(), stroke.frame() - len(self.samples)):
                _add(self.samples, stroke.samples, start)

    @cached_property
    def loudness_lufs(self) -> float:
        """Integrated loudness, played on two channels."""
        meter = LoudnessMeter(self._rate_hz, [2.0 / self._channels] * self._channels)
        meter.add(self.samples)
        return meter.integrated_lufs()

    def read_into(self, heard: NDArray[np.float32], first: int, later: Fraction) -> None:
        """Fills `heard` from frame `first` of a phrase whose exact beginning is `later` than its first frame.

        Args:
            heard: float32, shape (frames, channels); lies within the phrase.
            first: 0 or more.
            later: in frames, from -1/2 to less than 1/2.
        """
        heard[:] = self.samples[first : first + len(heard)]
        if not later:
            return
        # A stroke that is nearer to the frame before or after is moved there.
        begin = bisect_left(self._stroke_frames, first - self._longest)
        end = bisect_left(self._stroke_frames, first + len(heard) + 1)
        for stroke, frame in zip(self._strokes[begin:end], self._stroke_frames[begin:end], strict=True):
            moved = stroke.frame(later)
            if moved != frame:
                _add(heard, -stroke.samples, frame - first)
                _add(heard, stroke.samples, moved - first)

    def _drums(self, mood: Mood) -> Iterator[_Stroke]:
        played = (
            (mood.kick, instruments.kick(self._rate_hz), 0.0),
            (mood.snare, instruments.snare(self._rate_hz), _SNARE_PAN),
            (mood.hat, instruments.hat(self._rate_hz), _HAT_PAN),
        )
        for part, sound, pan in played:
            sounds = {
                sign: self._on_channels(
                    instruments.panned(sound, pan) * db_to_linear(mood.drums_db + strength_db)
                )
                for sign, strength_db in STRENGTHS_DB.items()
            }
            for step, sign in _strokes(part):
                yield _Stroke(step * self._step, sounds[sign])

    def _bass(self, mood: Mood) -> Iterator[_Stroke]:
        """Each note ends where the next begins."""
        sounds: dict[tuple[int, int, str], NDArray[np.float32]] = {}
        for (step, sign), (end, _) in pairwise([*_strokes(mood.bass), (_STEPS, "")]):
            root = mood.chords[step // _STEPS_A_CHORD].bass
            key = (root, end - step, sign)
            if key not in sounds:
                note = root + 12 if sign == OCTAVE_ABOVE else root
                seconds = min(_LONGEST_BASS_SECONDS, float((end - step) * self._step / self._rate_hz))
                sound = instruments.panned(instruments.bass(note, seconds, self._rate_hz), 0.0)
                sounds[key] = self._on_channels(sound * db_to_linear(mood.bass_db + STRENGTHS_DB[sign]))
            yield _Stroke(step * self._step, sounds[key])

    def _add_chords(self, mood: Mood) -> None:
        length = _STEPS_A_CHORD * self._step
        seconds = float(length / self._rate_hz)
        fade_seconds = min(_CHORD_FADE_SECONDS, seconds / 4)
        for index, chord in enumerate(mood.chords):
            is_last = index == len(mood.chords) - 1
            sounding = seconds if is_last else seconds + fade_seconds
            sound = instruments.chord(chord.notes, sounding, fade_seconds, self._rate_hz)
            start = Instant(index * length).to_frame(1)
            _add(self.samples, self._on_channels(sound * db_to_linear(mood.chords_db)), start)

    def _on_channels(self, sound: instruments.Sound) -> NDArray[np.float32]:
        return (sound if self._channels == 2 else sound.mean(axis=1, keepdims=True)).astype(np.float32)


class Pulse:
    """An endless bed whose count one falls so many frames, less than one, after frame 0 of its axis."""

    def __init__(self, phrase: Phrase, count_one: Fraction = Fraction(0)) -> None:
        self._phrase, self._count_one = phrase, count_one

    def loudness_lufs(self) -> float:
        """Integrated loudness of the phrase, played on two channels."""
        return self._phrase.loudness_lufs

    def played(self) -> Pulse:
        """Itself: any stretch can be read at any time."""
        return self

    def read(self, start_frame: int, frames: int) -> NDArray[np.float32]:
        """`frames` from `start_frame`, which may lie before the anchor; float32, shape (frames, channels)."""
        made = np.empty((frames, self._phrase.samples.shape[1]), np.float32)
        filled = 0
        while filled < frames:
            position = start_frame + filled
            turn = self._turn_at(position)
            begin, end = self._start_of(turn), self._start_of(turn + 1)
            length = min(frames - filled, end - position)
            later = self._exact_start_of(turn) - begin
            self._phrase.read_into(made[filled : filled + length], position - begin, later)
            filled += length
        return made

    def _exact_start_of(self, turn: int) -> Fraction:
        return self._count_one + self._phrase.frames * turn

    def _start_of(self, turn: int) -> int:
        return Instant(self._exact_start_of(turn)).to_frame(1)

    def _turn_at(self, frame: int) -> int:
        """Which repetition of the phrase `frame` lies in."""
        turn = floor((frame - self._count_one) / self._phrase.frames)
        return turn + 1 if self._start_of(turn + 1) <= frame else turn


def _strokes(part: Part) -> Iterator[tuple[int, str]]:
    """The steps of a phrase at which there is a stroke, with its sign."""
    for bar in range(_BARS):
        for step, sign in enumerate(part.fill if bar == _BARS - 1 else part.bar):
            if sign in STRENGTHS_DB:
                yield bar * _STEPS_IN_BAR + step, sign


def _add(samples: NDArray[np.float32], sound: NDArray[np.float32], start: int) -> None:
    """Adds to `samples` what lies inside of it of a sound that begins at `start`, which may be negative."""
    first, last = max(0, start), min(len(samples), start + len(sound))
    if first < last:
        samples[first:last] += sound[first - start : last - start]
