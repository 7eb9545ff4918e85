"""A tempo and a mood → the built-in bed: one phrase of 32 counts, made once and repeated without end.

Every stroke stands on the frame nearest to its exact time in the phrase, and every phrase begins on the
frame nearest to its exact time since the first: nothing is the sum of rounded beats.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound import instruments
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.sound.pulse_moods import BARS_A_CHORD, COUNTS, COUNTS_IN_BAR, MOODS, STEPS_IN_COUNT, Drum, Mood
from cuetrack.sound.units import db_to_linear
from cuetrack.timebase import Instant

_STEPS_IN_BAR = COUNTS_IN_BAR * STEPS_IN_COUNT
_BARS = COUNTS // COUNTS_IN_BAR
_STRENGTHS_DB = {"x": 0.0, "o": -7.0}
# How far the hat and the chords are turned to a side: the bass and the kick stay in the middle.
_HAT_PAN, _SNARE_PAN = 0.25, -0.1


class Phrase:
    """A phrase as it is repeated, and how loud it is; made once for any number of pulses.

    Args:
        bpm: 20 to 300.
        mood: a name of `MOODS`.
        rate_hz: 8000 or more.
        channels: 1 or 2.
    """

    def __init__(self, bpm: Fraction, mood: str, rate_hz: int, channels: int) -> None:
        self.frames = COUNTS * 60 / bpm * rate_hz
        self.samples = _phrase(MOODS[mood], bpm, rate_hz, channels)
        meter = LoudnessMeter(rate_hz, [2.0 / channels] * channels)
        # Twice: what rings from the end of a phrase into the next is heard from the second on.
        meter.add(self.samples)
        meter.add(self.samples)
        self.loudness_lufs = meter.integrated_lufs()


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
        samples = self._phrase.samples
        made = np.empty((frames, samples.shape[1]), np.float32)
        filled = 0
        while filled < frames:
            position = start_frame + filled
            turn = self._turn_at(position)
            begin, end = self._start_of(turn), self._start_of(turn + 1)
            length = min(frames - filled, end - position)
            made[filled : filled + length] = samples[position - begin : position - begin + length]
            filled += length
        return made

    def _start_of(self, turn: int) -> int:
        return Instant(self._count_one + self._phrase.frames * turn).to_frame(1)

    def _turn_at(self, frame: int) -> int:
        """Which repetition of the phrase `frame` lies in."""
        turn = floor((frame - self._count_one) / self._phrase.frames)
        if self._start_of(turn) > frame:
            return turn - 1
        return turn + 1 if self._start_of(turn + 1) <= frame else turn


def _phrase(mood: Mood, bpm: Fraction, rate_hz: int, channels: int) -> NDArray[np.float32]:
    """One phrase as it sounds among its like: what rings on at its end is heard at its beginning."""
    step_frames = Fraction(60, STEPS_IN_COUNT) / bpm * rate_hz
    frames = ceil(step_frames * _STEPS_IN_BAR * _BARS)
    phrase = np.zeros((frames, 2))
    drums = db_to_linear(mood.drums_db)
    kick, snare, hat = instruments.kick(rate_hz), instruments.snare(rate_hz), instruments.hat(rate_hz)
    played = ((mood.kick, kick, 0.0), (mood.snare, snare, _SNARE_PAN), (mood.hat, hat, _HAT_PAN))
    for drum, sound, pan in played:
        for step, strength in _strokes(drum):
            position = Instant(step * step_frames).to_frame(1)
            _add(phrase, instruments.panned(sound, pan) * (strength * drums), position)
    _add_notes(phrase, mood, step_frames, rate_hz)
    return (phrase if channels == 2 else phrase.mean(axis=1, keepdims=True)).astype(np.float32)


def _add_notes(phrase: NDArray[np.float64], mood: Mood, step_frames: Fraction, rate_hz: int) -> None:
    """Adds the bass and the chords."""
    steps_a_chord = BARS_A_CHORD * _STEPS_IN_BAR
    for index, chord in enumerate(mood.chords):
        start = Instant(index * steps_a_chord * step_frames).to_frame(1)
        seconds = float(steps_a_chord * step_frames) / rate_hz
        pad = instruments.chord(chord.notes, seconds, rate_hz)
        _add(phrase, pad * db_to_linear(mood.chords_db), start)
    for step, strength in _strokes(mood.bass):
        note = mood.chords[step // steps_a_chord].bass
        seconds = min(4.0, float(step_frames) / rate_hz * STEPS_IN_COUNT * 2)
        tone = instruments.bass(note, seconds, rate_hz)
        position = Instant(step * step_frames).to_frame(1)
        _add(phrase, instruments.panned(tone, 0.0) * (strength * db_to_linear(mood.bass_db)), position)


def _strokes(drum: Drum) -> Iterator[tuple[int, float]]:
    """The steps of a phrase at which there is a stroke, with its strength, linear."""
    for bar in range(_BARS):
        for step, sign in enumerate(drum.fill if bar == _BARS - 1 else drum.bar):
            if sign in _STRENGTHS_DB:
                yield bar * _STEPS_IN_BAR + step, db_to_linear(_STRENGTHS_DB[sign])


def _add(phrase: NDArray[np.float64], sound: NDArray[np.float64], position: int) -> None:
    """Adds `sound` from `position`; what reaches over the end goes on at the beginning."""
    while len(sound):
        length = min(len(sound), len(phrase) - position)
        phrase[position : position + length] += sound[:length]
        sound, position = sound[length:], 0
