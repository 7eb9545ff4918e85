"""True peak against the published signals of EBU Tech 3341, an independent resampler, and ffmpeg's meter."""

from __future__ import annotations

from math import cos, inf, log10, pi

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import firwin, lfilter

from cuetrack.sound.true_peak import REACH_FRAMES, TruePeakMeter, can_pass, peaks_above, true_peak_dbtp
from tests.helpers.ffmpeg_meter import ffmpeg_reading
from tests.helpers.signals import blocks_of, programme_material

RATE_HZ = 48_000
# EBU Tech 3341 v4, table 1 (second-hand): what a reading may lie over and under the true peak.
MOST_OVER_DB, MOST_UNDER_DB = 0.2, 0.4
# What the interpolation filter itself is out by, up to 0.45 of the rate.
RIPPLE_DB = 0.05


def sine(frequency: float, degrees: float, amplitude: float = 1.0, frames: int = RATE_HZ) -> np.ndarray:
    """`frequency` is in parts of the rate; it comes and goes within 10 ms, so its ends make no peaks."""
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
def test_a_sine_is_read_low_by_what_four_times_oversampling_costs(divisor: int) -> None:
    """BS.1770 Annex 2: up to 20·log10 cos(π·f/(4·fs)) (calculated). These divisors reach it: their peaks
    and troughs all lie halfway between two of the points that are looked at, or all on one."""
    points_apart_degrees = 360 / divisor / 4
    cost_db = 20 * log10(cos(pi / divisor / 4))
    halfway = true_peak_dbtp(sine(1 / divisor, 90.0 + points_apart_degrees / 2))
    assert halfway == pytest.approx(cost_db, abs=RIPPLE_DB)
    assert true_peak_dbtp(sine(1 / divisor, 90.0)) == pytest.approx(0.0, abs=RIPPLE_DB)


@settings(deadline=None, database=None, max_examples=60)
@given(st.floats(0.001, 0.45), st.floats(0, 360))
def test_no_sine_is_read_high_or_lower_than_that(frequency: float, degrees: float) -> None:
    """At 0.45 of the rate that is 0.554 dB (calculated)."""
    cost_db = 20 * log10(cos(pi * frequency / 4))
    reading_dbtp = true_peak_dbtp(sine(frequency, degrees, frames=8_000))
    assert cost_db - RIPPLE_DB <= reading_dbtp <= RIPPLE_DB


def noise(frames: int, seed: int = 3) -> np.ndarray:
    """White up to 0.4 of the rate, where every good interpolation is the same."""
    white = np.random.default_rng(seed).normal(0, 0.2, frames)
    return lfilter(firwin(255, 0.8), 1.0, white).astype(np.float32)


def interpolated(samples: np.ndarray, times: int) -> np.ndarray:
    """By an independent resampler of very high quality; its first value is the first sample."""
    return soxr.resample(samples.astype(np.float64), 1, times, quality="VHQ")


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_ffmpeg_agrees_on_programme_material(rate_hz: int) -> None:
    samples = programme_material(rate_hz, 20.0)
    reading = ffmpeg_reading(samples, rate_hz)
    assert true_peak_dbtp(samples) == pytest.approx(reading.true_peak_dbtp, abs=0.1)


@pytest.mark.parametrize("seed", range(5))
def test_an_independent_resampler_agrees_on_noise(seed: int) -> None:
    samples = noise(20_000, seed)
    expected_dbtp = 20 * log10(np.abs(interpolated(samples, 4)).max())
    assert true_peak_dbtp(samples) == pytest.approx(expected_dbtp, abs=RIPPLE_DB)


@pytest.mark.parametrize("floor", [0.05, 0.3, 0.6])
def test_peaks_are_exact_wherever_they_are_above_the_floor(floor: float) -> None:
    """Frame by frame, each with the three values up to the next one."""
    samples = noise(9_999)
    expected = np.abs(interpolated(samples, 4)).reshape(-1, 4).max(axis=1)[REACH_FRAMES:-REACH_FRAMES]
    found = peaks_above(samples, floor)
    assert found is not None
    assert found.shape == (9_999 - 2 * REACH_FRAMES,)
    # What lies on the floor to within the rounding of the two interpolations may fall on either side.
    above, below = expected > floor + 0.002, expected < floor - 0.002
    assert np.count_nonzero(above) > 0
    assert np.count_nonzero(below) > 0
    assert found[above] == pytest.approx(expected[above], abs=0.002)
    assert found[below].max() <= floor + 0.002


@pytest.mark.parametrize("frame", range(100, 164))
def test_a_peak_is_found_wherever_it_stands(frame: int) -> None:
    """Peaks are looked for in cells: what lies in one rises between the samples of the one before."""
    samples = np.zeros(400, np.float32)
    samples[frame] = 1.0
    found = peaks_above(samples, 0.2)
    assert found is not None
    # A quarter before it and a quarter after it, sin(π/4) / (π/4) under the window.
    before, at = found[frame - REACH_FRAMES - 1 : frame - REACH_FRAMES + 1]
    assert before == pytest.approx(0.900, abs=0.005)
    assert at == 1.0


def test_no_peak_is_above_a_floor_that_is_higher() -> None:
    samples = noise(9_999)
    assert peaks_above(samples, 10 ** (true_peak_dbtp(samples) / 20) + 1e-6) is None
    assert peaks_above(samples[: 2 * REACH_FRAMES], 0.01) is None


def all_peaks(samples: np.ndarray) -> np.ndarray:
    """Frame by frame; of so low a floor that no proof spares any of the work."""
    found = peaks_above(samples, 1e-30)
    assert found is not None
    return found


def wild(kind: str, seed: int) -> np.ndarray:
    """What bends little and much, and both at different places."""
    rng, time = np.random.default_rng(seed), np.arange(2_000)
    bass = 0.9 * np.sin(2 * np.pi * rng.uniform(30, 300) / RATE_HZ * time + rng.uniform(0, 6))
    hiss = rng.normal(0, 0.4, len(time))
    return {
        "bass": lambda: bass,
        "hiss": lambda: hiss,
        "bass, then hiss": lambda: np.where(time < 1_000, bass, hiss),
        "hiss on bass": lambda: 0.5 * bass + 0.3 * hiss,
        "signs": lambda: rng.choice([-1.0, 1.0], len(time)),
        "single samples": lambda: np.where(rng.random(len(time)) < 0.01, 1.0, 0.0),
        "a high tone": lambda: np.sin(2 * np.pi * rng.uniform(0.2, 0.5) * time),
    }[kind]().astype(np.float32)


WILD = ("bass", "hiss", "bass, then hiss", "hiss on bass", "signs", "single samples", "a high tone")


@settings(deadline=None, database=None, max_examples=80)
@given(st.sampled_from(WILD), st.integers(0, 1_000), st.floats(0.3, 1.5))
def test_what_is_not_looked_at_cannot_be_a_peak(kind: str, seed: int, share: float) -> None:
    """Both proofs hold whatever the signal, and change nothing above the level."""
    samples = wild(kind, seed)
    peaks = all_peaks(samples)
    level = share * float(peaks.max())
    if not can_pass(samples, level):
        assert share > 1 - 1e-6
    found = peaks_above(samples, level)
    above = peaks > level
    if found is None:
        assert not above.any()
    else:
        assert found[above] == pytest.approx(peaks[above], rel=1e-6)
        assert found[~above].max(initial=0.0) <= level * (1 + 1e-6)


def test_a_bass_note_under_the_level_is_not_looked_at() -> None:
    """Its samples are nearly its peaks, which no sum of taps could tell; one sample out of line can."""
    samples = (0.9 * np.sin(2 * np.pi * 50 / RATE_HZ * np.arange(4_800))).astype(np.float32)
    stereo = np.column_stack([np.zeros_like(samples), samples])
    assert not can_pass(samples, 0.901)
    assert not can_pass(stereo, 0.901)
    assert can_pass(samples, 0.899)
    stereo[3_000, 1] = 0.0
    assert can_pass(stereo, 0.95)


@pytest.mark.parametrize("block_frames", [1, 7, 33, 4_096])
def test_block_size_changes_no_reading(block_frames: int) -> None:
    """Nor does reading on the way, which takes silence to follow."""
    samples = np.column_stack([noise(3_000), 1.5 * noise(3_000, 4)]).astype(np.float32)
    meter = TruePeakMeter()
    for block in blocks_of(samples, block_frames):
        meter.add(block)
        meter.dbtp()
    assert meter.dbtp() == pytest.approx(true_peak_dbtp(samples), abs=1e-5)


def test_reading_on_the_way_leaves_no_peak_of_a_cut_that_was_not_made() -> None:
    """A tone near half the rate peaks higher where it breaks off than it ever does while it lasts."""
    tone = sine(0.45, 20.0)
    meter = TruePeakMeter()
    meter.add(tone[:24_000, np.newaxis])
    cut_dbtp = meter.dbtp()
    meter.add(tone[24_000:, np.newaxis])
    assert cut_dbtp > RIPPLE_DB
    assert meter.dbtp() == pytest.approx(true_peak_dbtp(tone), abs=1e-5)
    assert meter.dbtp() < cut_dbtp


def test_the_louder_channel_is_read() -> None:
    soft, loud = 0.1 * noise(2_000), noise(2_000)
    for sides in ([soft, loud], [loud, soft]):
        stereo = np.column_stack(sides).astype(np.float32)
        assert true_peak_dbtp(stereo) == pytest.approx(true_peak_dbtp(loud), abs=1e-5)


@pytest.mark.parametrize("frames", [0, 1, 5_000])
def test_silence_is_minus_infinity(frames: int) -> None:
    assert true_peak_dbtp(np.zeros(frames, np.float32)) == -inf
    assert TruePeakMeter().dbtp() == -inf


@pytest.mark.parametrize("frames", [1, 2, 15, 40])
def test_a_single_sample_is_its_own_peak(frames: int) -> None:
    """At the very end of a clip shorter than the filter, too."""
    single = np.zeros(frames, np.float32)
    single[-1] = 0.5
    assert true_peak_dbtp(single) == pytest.approx(20 * log10(0.5), abs=1e-5)


@pytest.mark.parametrize("frames", [2, 15, 40])
def test_a_clip_shorter_than_the_filter_rings_as_it_does_elsewhere(frames: int) -> None:
    """A step has all frequencies, and the two interpolations differ in the highest."""
    ones, zeros = np.ones(frames, np.float32), np.zeros(64)
    expected = np.abs(interpolated(np.concatenate([zeros, ones, zeros]), 4)).max()
    assert true_peak_dbtp(ones) == pytest.approx(20 * log10(expected), abs=0.15)
