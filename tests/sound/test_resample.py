"""Resampling keeps time, pitch, level and length."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate

from cuetrack.sound.resample import resampled
from cuetrack.sound.tones import tone_samples

PAIRS_HZ = [
    (22_050, 48_000),
    (22_050, 44_100),
    (44_100, 48_000),
    (48_000, 22_050),
    (16_000, 48_000),
]


def sine(frequency_hz: float, rate_hz: int, seconds: float) -> np.ndarray:
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    return (0.5 * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32)


@pytest.mark.parametrize(("from_hz", "to_hz"), PAIRS_HZ)
def test_an_impulse_stays_at_its_time(from_hz: int, to_hz: int) -> None:
    clip = np.zeros(from_hz, np.float32)
    clip[from_hz // 3] = 1.0
    found = int(np.argmax(np.abs(resampled(clip, from_hz, to_hz))))
    assert abs(found - from_hz // 3 * to_hz / from_hz) <= 0.5


@pytest.mark.parametrize(("from_hz", "to_hz"), PAIRS_HZ)
def test_a_sine_comes_out_as_the_same_sine_at_the_other_rate(from_hz: int, to_hz: int) -> None:
    """Phase, pitch and level at once: a shift of one frame would differ by 0.06 or more."""
    converted = resampled(sine(997, from_hz, 1.0), from_hz, to_hz)
    middle = slice(to_hz // 10, -to_hz // 10)  # away from where the sine is switched
    assert np.abs(converted - sine(997, to_hz, 1.0))[middle].max() < 1e-5


@pytest.mark.parametrize(("from_hz", "to_hz"), PAIRS_HZ)
def test_an_onset_stays_within_a_sample_of_its_time(from_hz: int, to_hz: int) -> None:
    """A slate made at one rate is found, after conversion, by the slate made at the other."""
    start_frame = from_hz // 3
    slate = tone_samples("slate", from_hz)
    clip = np.zeros(from_hz, np.float32)
    clip[start_frame : start_frame + len(slate)] = slate
    converted = resampled(clip, from_hz, to_hz)
    found = int(np.argmax(correlate(converted, tone_samples("slate", to_hz), mode="valid")))
    assert abs(found - start_frame * to_hz / from_hz) < 1


@settings(deadline=None, database=None)
@given(st.sampled_from(PAIRS_HZ), st.integers(0, 3_000))
def test_the_length_is_rounded_half_up(pair_hz: tuple[int, int], frames: int) -> None:
    from_hz, to_hz = pair_hz
    converted = resampled(np.zeros(frames, np.float32), from_hz, to_hz)
    assert len(converted) == floor(Fraction(frames * to_hz, from_hz) + Fraction(1, 2))
    assert converted.dtype == np.float32


def test_equal_rates_give_the_clip_itself() -> None:
    clip = sine(440, 48_000, 0.1)
    assert resampled(clip, 48_000, 48_000) is clip


def test_what_the_lower_rate_cannot_hold_is_gone_not_folded() -> None:
    """15 kHz at 22.05 kHz would come back as 7.05 kHz."""
    converted = resampled(sine(15_000, 48_000, 1.0), 48_000, 22_050)
    assert np.abs(converted[2_000:-2_000]).max() < 1e-5
