"""The perceived onset, on sounds whose envelope can be calculated and on spoken digits.

Cummins & Port 1998, Appendix A. A first-order 10 Hz low-pass answers a step with 1 - exp(-t/tau),
tau = 1/(2*pi*10 Hz): 10 % after 0.105 tau, 90 % after 2.303 tau, midway 19.2 ms.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from cuetrack.speech.onset import perceived_onset
from cuetrack.speech.speak import speak

RATE_HZ = 48_000
TAU_SECONDS = 1 / (2 * math.pi * 10)


def burst(ramp_seconds: float, seconds: float = 0.5, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A 1 kHz tone that rises in a straight line."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    rise = np.minimum(time / ramp_seconds, 1.0) if ramp_seconds else 1.0
    return (0.5 * rise * np.sin(2 * np.pi * 1000 * time)).astype(np.float32)


def calculated_beat_seconds(ramp_seconds: float) -> float:
    """The method's answer for a straight rise, from the low-pass's response in closed form."""
    time = np.arange(0, 1, 1e-5)
    if ramp_seconds:
        ramp = (time - TAU_SECONDS * (1 - np.exp(-time / TAU_SECONDS))) / ramp_seconds
        late = np.maximum(time - ramp_seconds, 0)
        response = ramp - (late - TAU_SECONDS * (1 - np.exp(-late / TAU_SECONDS))) / ramp_seconds
    else:
        response = 1 - np.exp(-time / TAU_SECONDS)
    return (time[np.searchsorted(response, 0.1)] + time[np.searchsorted(response, 0.9)]) / 2


def test_the_closed_form_is_the_one_of_the_heading():
    assert calculated_beat_seconds(0) == pytest.approx(0.0192, abs=0.0001)


@pytest.mark.parametrize("ramp_ms", [0, 5, 20, 50, 100, 200])
def test_a_tone_burst_is_heard_where_the_method_says(ramp_ms):
    # 3 ms: the band-pass adds its own delay (about 0.5 ms) and the rectified tone ripples.
    found = perceived_onset(burst(ramp_ms / 1000), RATE_HZ) / RATE_HZ
    assert found == pytest.approx(calculated_beat_seconds(ramp_ms / 1000), abs=0.003)


def test_a_sharp_onset_is_heard_10_to_25_ms_late():
    """Terhardt: a sharp onset is heard about 10 ms late; the models agree to some 10 ms."""
    assert 10 <= perceived_onset(burst(0), RATE_HZ) / RATE_HZ * 1000 <= 25


def test_a_slower_rise_is_heard_later():
    found = [perceived_onset(burst(ramp), RATE_HZ) for ramp in (0, 0.02, 0.05, 0.1, 0.2)]
    assert found == sorted(set(found))


def test_neither_level_nor_what_follows_moves_the_onset():
    sound = burst(0.02)
    later = np.concatenate([sound, np.zeros(4800, np.float32), sound])
    onset = perceived_onset(sound, RATE_HZ)
    assert perceived_onset(sound / 64, RATE_HZ) == onset
    assert perceived_onset(later, RATE_HZ) == onset


def test_silence_before_the_sound_counts():
    sound = burst(0.02)
    padded = np.concatenate([np.zeros(1000, np.float32), sound])
    assert abs(perceived_onset(padded, RATE_HZ) - perceived_onset(sound, RATE_HZ) - 1000) <= 2


@pytest.mark.parametrize("rate_hz", [16_000, 22_050, 44_100])
def test_the_rate_does_not_move_the_onset(rate_hz):
    expected = perceived_onset(burst(0.05), RATE_HZ) / RATE_HZ
    assert perceived_onset(burst(0.05, rate_hz=rate_hz), rate_hz) / rate_hz == pytest.approx(
        expected, abs=0.001
    )


@pytest.mark.parametrize("samples", [np.zeros(0, np.float32), np.zeros(4800, np.float32)])
def test_silence_has_its_onset_at_its_start(samples):
    assert perceived_onset(samples, RATE_HZ) == 0


@pytest.mark.parametrize("frames", [1, 2, 48])
def test_a_click_has_its_onset_inside(frames):
    assert 0 <= perceived_onset(np.ones(frames, np.float32), RATE_HZ) < frames


def test_with_equal_starts_eight_is_rushed_and_six_is_late(clear, cache):
    """Morton, Marcus & Frankish 1976: digits that start at even distances do not sound even.

    "Eight" begins with its vowel, "six" with a long fricative. The difference has to be more than
    listeners notice at one a second: 25 ms, Friberg & Sundberg 1995.
    """
    clips = speak(["six", "eight"], clear, RATE_HZ, cache=cache)
    lag = clips["six"].onset_frames - clips["eight"].onset_frames
    assert lag / RATE_HZ > 0.025
