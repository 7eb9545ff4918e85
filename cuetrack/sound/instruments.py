"""The instruments of the built-in bed: each a short array, the same in every run.

Kick, bass and chords lie mostly below 1 kHz and the hat above 5 kHz: between them, where words are told
apart, there is little. Pitch: ISO 16, A4 at 440 Hz, equal temperament.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]

_USABLE_BAND = 0.45
_NOISE_SEED = 1876
# Multiples of the note's frequency, with their levels.
_BASS_PARTS = ((1, 1.0), (2, 0.5), (3, 0.3), (4, 0.15), (5, 0.08))
_CHORD_PARTS = ((1, 1.0), (2, 0.6), (3, 0.4), (4, 0.25), (5, 0.15), (6, 0.08))


def note_hz(note: int) -> float:
    """Frequency of a MIDI note.

    >>> note_hz(69)
    440.0
    """
    return float(440.0 * 2 ** ((note - 69) / 12))


def kick(rate_hz: int) -> Sound:
    """A drum that falls from 120 to 48 Hz; shape (frames,), peak near 1."""
    time = _time(0.28, rate_hz)
    turns = 48 * time + 72 * 0.03 * (1 - np.exp(-time / 0.03))
    beat = np.sin(2 * np.pi * turns) * _decay(time, 0.07, attack_seconds=0.002)
    # What small loudspeakers, which have no bass, can still play of it.
    knock = 0.25 * np.sin(2 * np.pi * 420 * time) * _decay(time, 0.012)
    return _without_offset(0.7 * beat + knock)


def snare(rate_hz: int) -> Sound:
    """A soft stroke: a low tone and a breath of noise."""
    time = _time(0.2, rate_hz)
    breath = _noise(len(time), rate_hz, 600.0, 6_000.0)
    tone = 0.5 * np.sin(2 * np.pi * 185 * time)
    return _without_offset(0.55 * (tone * _decay(time, 0.05) + breath * _decay(time, 0.06)))


def hat(rate_hz: int) -> Sound:
    """A short hiss above the voice."""
    time = _time(0.07, rate_hz)
    return _without_offset(0.45 * _noise(len(time), rate_hz, 5_000.0, 11_000.0) * _decay(time, 0.025))


def bass(note: int, seconds: float, rate_hz: int) -> Sound:
    """A round low note."""
    time = _time(seconds, rate_hz)
    frequency = note_hz(note)
    wave = sum(level * np.sin(2 * np.pi * frequency * part * time) for part, level in _BASS_PARTS)
    return 0.3 * wave * _decay(time, seconds / 2.5, attack_seconds=0.008) * _end(time, seconds, 0.03)


def chord(notes: tuple[int, ...], seconds: float, rate_hz: int) -> Sound:
    """Soft held notes that swell and fade; shape (frames, 2), the sides a little apart."""
    time = _time(seconds + 0.4, rate_hz)
    swell = min(0.4, seconds / 4)
    shape = np.minimum(time / swell, 1.0) * _end(time, seconds + 0.4, 0.6)
    sides = []
    for side in (-1, 1):
        wave = np.zeros_like(time)
        for index, note in enumerate(notes):
            for part, level in _CHORD_PARTS:
                # A fifth of a cent apart: the sides drift against each other in half a minute.
                frequency = note_hz(note) * part * (1 + side * 1e-4)
                if frequency < _USABLE_BAND * rate_hz:
                    wave += level * np.sin(2 * np.pi * frequency * time + index)
        sides.append(0.11 * wave * shape)
    return np.stack(sides, axis=1)


def panned(sound: Sound, pan: float) -> Sound:
    """A sound on two channels; `pan` from -1 (left) to 1 (right), equal power, full level in the middle."""
    angle = (pan + 1) * np.pi / 4
    return np.asarray(sound[:, np.newaxis] * np.sqrt(2) * np.array([np.cos(angle), np.sin(angle)]))


def _time(seconds: float, rate_hz: int) -> Sound:
    return np.arange(max(1, round(seconds * rate_hz))) / rate_hz


def _decay(time: Sound, seconds: float, attack_seconds: float = 0.001) -> Sound:
    """A quick rise and an exponential fall that ends at zero."""
    fall = np.exp(-time / seconds) * _end(time, float(time[-1]), 0.02)
    return np.minimum(time / attack_seconds, 1.0) * fall


def _end(time: Sound, seconds: float, fade_seconds: float) -> Sound:
    return np.clip((seconds - time) / fade_seconds, 0.0, 1.0)


def _without_offset(sound: Sound) -> Sound:
    """The sound with a mean of zero; what is taken away fades with it, so its ends stay at zero."""
    shape = np.abs(sound)
    if not shape.any():  # at a rate that holds none of it
        return sound
    return np.asarray(sound - shape * (sound.sum() / shape.sum()))


def _noise(frames: int, rate_hz: int, from_hz: float, to_hz: float) -> Sound:
    """Noise between two frequencies, with a largest sample of 1."""
    spectrum = np.fft.rfft(np.random.default_rng(_NOISE_SEED).standard_normal(frames))
    frequency_hz = np.fft.rfftfreq(frames, 1 / rate_hz)
    inside = (frequency_hz >= from_hz) & (frequency_hz <= min(to_hz, _USABLE_BAND * rate_hz))
    noise = np.fft.irfft(spectrum * inside, frames)
    largest = float(np.abs(noise).max())
    return np.asarray(noise / largest if largest else noise)
