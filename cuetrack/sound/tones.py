"""Samples of a tone from its entry in the tone table.

A tone's first sample is not zero, not even after rounding to 16 bits, so a tone written into
silence is found on its exact frame. Nothing clicks for it: the ramps begin and end at a floor 54 dB
down, too low to hear, instead of at zero; and every wave starts an eighth of a turn past its crest
and lasts whole periods, so that its last sample, one frame short of that phase, is not zero either.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cuetrack.errors import SoundError
from cuetrack.sound.tone_table import Sweep, ToneSpec, tone_frames, tone_spec
from cuetrack.sound.units import db_to_linear

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOWEST_RATE_HZ = 8_000
# Converters and resamplers need the rest up to half the rate for their filters.
_USABLE_BAND = 0.45
_RAMP_FLOOR_DB = -54.0
_START_TURNS = 1 / 8


def tone_samples(name: str, rate_hz: int, gain_db: float = 0.0) -> NDArray[np.float32]:
    """One tone, ready to be added at its frame.

    Partials above 0.45 of the rate are left out. The largest sample is at the table's peak level
    whatever the rate. The same arguments give the same samples in every run.

    Args:
        name: an entry of the tone table.
        rate_hz: 8000 or more.
        gain_db: added to the table's peak level.

    Returns:
        float32, shape (tone_frames(name, rate_hz),), first and last sample not zero.

    Raises:
        SoundError: there is no such tone, or the rate is too low to hold one.
    """
    tone = tone_spec(name)
    if rate_hz < LOWEST_RATE_HZ:
        raise SoundError(f"tones need a rate of {LOWEST_RATE_HZ} Hz or more, not {rate_hz} Hz")
    frames = tone_frames(name, rate_hz)
    # A length that is no whole number of frames is stretched to one, by half a frame at most.
    seconds = np.arange(frames) / frames * float(tone.length_seconds)
    shaped = _wave(tone, seconds, rate_hz) * _ramps(tone, seconds)
    gain = db_to_linear(tone.peak_dbfs + gain_db) / float(np.abs(shaped).max())
    return (gain * shaped).astype(np.float32)


def _wave(tone: ToneSpec, seconds: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64]:
    """The steady tone, at any level."""
    match tone.waveform:
        case Sweep(from_hz, to_hz):
            slope = (to_hz - from_hz) / float(tone.length_seconds)
            return _cosine(from_hz * seconds + slope * seconds**2 / 2)
        case partials:
            wave = np.zeros_like(seconds)
            for partial in partials:
                if partial.frequency_hz <= _USABLE_BAND * rate_hz:
                    amplitude = db_to_linear(partial.level_db) * (-1 if partial.inverted else 1)
                    wave += amplitude * _cosine(partial.frequency_hz * seconds)
            return wave


def _cosine(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.cos(2 * np.pi * (turns + _START_TURNS))


def _ramps(tone: ToneSpec, seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Raised-cosine attack and release, from and to the floor."""
    length, attack = float(tone.length_seconds), float(tone.attack_seconds)
    opened = np.minimum(seconds / attack, 1.0)
    closed = np.minimum((length - seconds) / float(tone.release_seconds), 1.0)
    raised = (np.sin(np.pi / 2 * opened) * np.sin(np.pi / 2 * closed)) ** 2
    floor = db_to_linear(_RAMP_FLOOR_DB)
    return floor + (1.0 - floor) * raised
