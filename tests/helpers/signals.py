"""Signals for loudness and peaks: sines at stated levels, and programme material of noise and tones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Stretch = tuple[float, float]  # peak level in dBFS, seconds


def sine_stretches(
    stretches: Sequence[Stretch], rate_hz: int, frequency_hz: float = 1000.0
) -> NDArray[np.float32]:
    """One sine through stretches of different levels, shape (frames,); stretches start on a rounded frame."""
    ends = np.cumsum([seconds for _, seconds in stretches])
    time = np.arange(round(ends[-1] * rate_hz)) / rate_hz
    which = np.searchsorted(np.round(ends * rate_hz), np.arange(len(time)), side="right")
    peaks = 10 ** (np.array([level_dbfs for level_dbfs, _ in stretches]) / 20)
    return (peaks[which] * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32)


def in_stereo(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same on two channels, shape (frames, 2)."""
    return np.column_stack([samples, samples])


def programme_material(rate_hz: int, seconds: float, seed: int = 5) -> NDArray[np.float32]:
    """What a track is made of, shape (frames, 2): phrases, pips, a beat, pauses; about -27 LUFS.

    Phrases are noise that falls with frequency under syllables of 4 Hz, each phrase at its own level.
    """
    rng = np.random.default_rng(seed)
    frames = round(seconds * rate_hz)
    time = np.arange(frames) / rate_hz
    phrase = (time // 2.5).astype(int)
    level = 10 ** (rng.uniform(-26, -8, phrase[-1] + 1) / 20)[phrase] * (phrase % 5 != 4)
    speech = lfilter([0.3], [1.0, -0.7], rng.normal(0, 0.5, frames)) * level * np.sin(np.pi * 4 * time) ** 2
    beat = 0.15 * np.exp(-12 * (time % 0.5)) * np.sin(2 * np.pi * 70 * time)
    pips = 0.2 * np.sin(2 * np.pi * 1000 * time) * ((time % 5.0) < 0.1)
    sides = [0.5 * speech + beat + pips, 0.5 * speech + beat * 0.7 + pips + rng.normal(0, 0.004, frames)]
    return (np.column_stack(sides) * (time < seconds - 3)[:, np.newaxis]).astype(np.float32)


def blocks_of(samples: NDArray[np.float32], frames: int) -> list[NDArray[np.float32]]:
    """The samples in blocks of `frames`; the last may be shorter."""
    return [samples[start : start + frames] for start in range(0, len(samples), frames)]


def sine(
    frequency_hz: float, seconds: float, rate_hz: int = 48_000, level: float = 0.25
) -> NDArray[np.float32]:
    """A sine of an amplitude, shape (frames,)."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    return (level * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32)


def music(seconds: float, rate_hz: int = 48_000, channels: int = 2, seed: int = 7) -> NDArray[np.float32]:
    """Noise with less and less treble, which resembles music in its spectrum; at about -20 dBFS.

    Shape (frames, channels).
    """
    noise = np.random.default_rng(seed).standard_normal((round(seconds * rate_hz), channels))
    spectrum = np.fft.rfft(noise, axis=0)
    frequency_hz = np.fft.rfftfreq(len(noise), 1 / rate_hz)
    spectrum *= (1 / np.sqrt(1 + (frequency_hz / 300) ** 2) * (frequency_hz > 30))[:, np.newaxis]
    made = np.fft.irfft(spectrum, len(noise), axis=0)
    return np.asarray(0.1 * made / made.std(), np.float32)
