"""The instruments of the built-in bed: each a short array, the same in every run.

Kick, bass and chords lie mostly below 1 kHz and the hat above 5 kHz: between them, where words are told
apart, there is little. Pitch: ISO 16, A4 at 440 Hz, equal temperament.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]

_USABLE_BAND = 0.45
_NOISE_SEED = 1876
# Levels of the multiples of a note's frequency, from its own on.
_BASS_PARTS = (1.0, 0.6, 0.35, 0.15, 0.08)
_CHORD_PARTS = (1.0, 0.5, 0.3, 0.16, 0.08)
# A second, softer voice so far above a note on the left and below it on the right: slow movement, and
# as the note itself is alike on both sides, nothing goes missing on one loudspeaker.
_SHIMMER_HZ, _SHIMMER = 0.4, 0.15
_TURNING_FRAMES = 512


def note_hz(note: int) -> float:
    """Frequency of a MIDI note.

    >>> note_hz(69)
    440.0
    """
    return float(440.0 * 2 ** ((note - 69) / 12))


def kick(rate_hz: int) -> Sound:
    """A drum that falls from 120 to 48 Hz; shape (frames,), peak near 0.7."""
    time = _time(0.28, rate_hz)
    turns = 48 * time + 72 * 0.03 * (1 - np.exp(-time / 0.03))
    # Pressed: louder for the same peak, and its overtones are what small loudspeakers can play of it.
    beat = np.tanh(2.0 * np.sin(2 * np.pi * turns) * _decay(time, 0.07, attack_seconds=0.002))
    knock = 0.12 * np.sin(2 * np.pi * 420 * time) * _decay(time, 0.012)
    return _without_offset(0.6 * beat + knock)


def snare(rate_hz: int) -> Sound:
    """A soft stroke: a low tone and a breath of noise, less of it where words are told apart."""
    time = _time(0.2, rate_hz)
    tone = 0.3 * np.sin(2 * np.pi * 185 * time) * _decay(time, 0.05)
    body, air = (_noise(len(time), rate_hz, *band) for band in ((300.0, 1_600.0), (4_500.0, 8_000.0)))
    breath = 0.45 * body + 0.12 * air
    return _without_offset(tone + breath * _decay(time, 0.05))


def hat(rate_hz: int) -> Sound:
    """A short hiss above the voice."""
    time = _time(0.07, rate_hz)
    return _without_offset(0.4 * _noise(len(time), rate_hz, 5_500.0, 10_500.0) * _decay(time, 0.022))


def bass(note: int, seconds: float, rate_hz: int) -> Sound:
    """A round low note that ends after `seconds`; shape (frames,)."""
    time = _time(seconds, rate_hz)
    turning = _turning(note_hz(note), len(time), rate_hz)
    shape = np.exp(-time / 0.5) * _smooth(time / 0.012) * _end(time, seconds, 0.03)
    return _without_offset(0.3 * _overtones(turning, note_hz(note), _BASS_PARTS, rate_hz) * shape)


def chord(notes: tuple[int, ...], seconds: float, fade_seconds: float, rate_hz: int) -> Sound:
    """Soft held notes that swell, and fade at the end of `seconds`; shape (frames, 2)."""
    time = _time(seconds, rate_hz)
    shape = 0.11 * _smooth(time / fade_seconds) * _end(time, seconds, fade_seconds)
    shimmer = _SHIMMER * _turning(_SHIMMER_HZ, len(time), rate_hz)
    sides = np.zeros((2, len(time)))
    for note in notes:
        turning = _turning(note_hz(note), len(time), rate_hz)
        wave = _overtones(turning, note_hz(note), _CHORD_PARTS, rate_hz)
        wave += turning.imag * shimmer.real
        apart = turning.real * shimmer.imag
        sides[0] += wave + apart
        sides[1] += wave - apart
    return np.asarray((sides * shape).T)


def panned(sound: Sound, pan: float) -> Sound:
    """A sound on two channels; `pan` from -1 (left) to 1 (right), equal power, full level in the middle."""
    angle = (pan + 1) * np.pi / 4
    return np.asarray(sound[:, np.newaxis] * np.sqrt(2) * np.array([np.cos(angle), np.sin(angle)]))


def _time(seconds: float, rate_hz: int) -> Sound:
    return np.arange(max(1, round(seconds * rate_hz))) / rate_hz


def _turning(frequency_hz: float, frames: int, rate_hz: int) -> NDArray[np.complex128]:
    """A sine as the imaginary part, a cosine as the real one; by products, as sines take long to compute."""
    angle = 2j * np.pi * frequency_hz / rate_hz
    within = np.exp(angle * np.arange(_TURNING_FRAMES))
    starts = np.exp(angle * np.arange(0, frames, _TURNING_FRAMES))
    return np.outer(starts, within).reshape(-1)[:frames]


def _overtones(
    turning: NDArray[np.complex128], frequency_hz: float, levels: Sequence[float], rate_hz: int
) -> Sound:
    """The sum of sin(k x) at the k-th of `levels`, by sin((k + 1) x) = 2 cos x sin(k x) - sin((k - 1) x)."""
    twice_cosine = 2 * turning.real
    before, now = np.zeros(len(turning)), turning.imag.copy()
    wave = levels[0] * now
    for part, level in enumerate(levels[1:], start=2):
        if part * frequency_hz >= _USABLE_BAND * rate_hz:
            break
        before, now = now, twice_cosine * now - before
        wave += level * now
    return np.asarray(wave)


def _decay(time: Sound, seconds: float, attack_seconds: float = 0.001) -> Sound:
    """A quick rise and an exponential fall that ends at zero."""
    fall = np.exp(-time / seconds) * _end(time, float(time[-1]), 0.02)
    return _smooth(time / attack_seconds) * fall


def _end(time: Sound, seconds: float, fade_seconds: float) -> Sound:
    return _smooth((seconds - time) / fade_seconds)


def _smooth(share: Sound) -> Sound:
    """From 0 to 1 as `share` does, without a corner at either end."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(share * share * (3 - 2 * share))


def _without_offset(sound: Sound) -> Sound:
    """The sound with a mean of zero; what is taken away fades with it, so its ends stay at zero."""
    shape = np.square(sound)
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
