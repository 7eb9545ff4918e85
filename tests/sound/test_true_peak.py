"""True peak against the published signals of EBU Tech 3341, an independent resampler, and ffmpeg's meter."""

from __future__ import annotations

from math import cos, inf, log10, pi

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import firwin, lfilter

from cuetrack.sound.true_peak import REACH_FRAMES, TruePeakMeter, peaks_above, true_peak_dbtp
from tests.helpers.ffmpeg_meter import ffmpeg_reading
from tests.helpers.signals import blocks_of, programme_material

RATE_HZ = 48_000
# EBU Tech 3341 v4, table 1 (second-hand): what a reading may lie over and under the true peak.
MOST_OVER_DB, MOST_UNDER_DB = 0.2, 0.4
# What the interpolation filter itself is out by, up to 0.45 of the rate.
RIPPLE_DB = 0.05


def sine(frequency: float, degrees: float, amplitude: float = 1.0, frames: int = RATE_HZ) -> np.ndarray:
    """`frequency` is in parts of the rate; it comes and goes within 10 ms, which makes no peaks of its own."""
    phase = 2 * pi * frequency * np.arange(frames) + np.radians(degrees)
    ramp = np.minimum(1.0, np.arange(frames) / (0.01 * RATE_HZ))
    return (amplitude * np.sin(phase) * ramp * ramp[::-1]).astype(np.float32)


def assert_reads(reading_dbtp: float, expected_dbtp: float) -> None:
    assert expected_dbtp - MOST_UNDER_DB <= reading_dbtp <= expected_dbtp + MOST_OVER_DB


@pytest.mark.parametrize(
    ("case", "divisor", "degrees", "amplitude", "expected_dbtp"),
    [
        (15, 4, 0.0, 0.50, -6.0),
        (16, 4, 45.0, 0.50, -6.0),
        (17, 6, 60.0, 0.50, -6.0),
        (18, 8, 67.5, 0.50, -6.0),
        (19, 4, 45.0, 1.41, 3.0),
    ],
)
def test_tech_3341_cases_15_to_19(
    case: int, divisor: int, degrees: float, amplitude: float, expected_dbtp: float
) -> None:
    assert_reads(true_peak_dbtp(sine(1 / divisor, degrees, amplitude)), expected_dbtp)


def burst_between_samples(offset: int) -> np.ndarray:
    """Cases 20 to 23: a sine of a sixth of the rate at 0.5 that holds one cycle of a quarter at 1.0.

    Made at four times the rate, low-passed and thinned out from `offset` on.
    """
    cycles = 100
    around = 0.5 * np.sin(2 * pi * np.arange(24 * cycles) / 24)
    cycle = np.sin(2 * pi * np.arange(16) / 16)
    fine = np.concatenate([around, cycle, around])
    fine *= np.minimum(1.0, np.minimum(np.arange(len(fine)), np.arange(len(fine))[::-1]) / 1920)
    taps = firwin(255, 0.25)
    return np.convolve(fine, taps, mode="same")[offset::4].astype(np.float32)


@pytest.mark.parametrize(
    ("case", "offset", "sample_peak_dbfs"), [(20, 0, -0.13), (21, 1, -0.46), (22, 2, -2.50), (23, 3, -0.46)]
)
def test_tech_3341_cases_20_to_23(case: int, offset: int, sample_peak_dbfs: float) -> None:
    """The sample peaks, measured elsewhere, show that the signal is the same and that they say little."""
    samples = burst_between_samples(offset)
    assert 20 * log10(float(np.abs(samples).max())) == pytest.approx(sample_peak_dbfs, abs=0.1)
    assert_reads(true_peak_dbtp(samples), 0.0)


@pytest.mark.parametrize("divisor", [3, 4, 5, 8, 16])
def test_four_times_oversampling_reads_a_sine_low_by_as_much_as_it_must(divisor: int) -> None:
    """BS.1770 Annex 2: under-read up to 20·log10 cos(π·f/(4·fs)) (calculated), reached here because the
    sine's peak lies halfway between two of the points that are looked at."""
    step_degrees = 360 / divisor / 4
    must_db = 20 * log10(cos(pi / divisor / 4))
    halfway = true_peak_dbtp(sine(1 / divisor, 90.0 + step_degrees / 2))
    # Points repeat after one period; if it holds an odd number of them, a trough falls between two others.
    expected_db = must_db if 4 * divisor % 2 == 0 and divisor % 2 == 0 else None
    if expected_db is not None:
        assert halfway == pytest.approx(expected_db, abs=RIPPLE_DB)
    assert halfway >= must_db - RIPPLE_DB
    assert true_peak_dbtp(sine(1 / divisor, 90.0)) == pytest.approx(0.0, abs=RIPPLE_DB)
