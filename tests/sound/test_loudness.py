"""Loudness against published readings, the published filters, and pyloudnorm."""

from __future__ import annotations

from math import inf, log10, pi, tan

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from cuetrack.sound.loudness import (
    K_WEIGHTING_HIGH_PASS,
    K_WEIGHTING_SHELF,
    k_weighted_loudness_lufs,
    levelled,
)
from cuetrack.sound.resample import resampled

RATES_HZ = (8_000, 22_050, 44_100, 48_000, 96_000)


def sine(frequency_hz: float, peak_dbfs: float, rate_hz: int, seconds: float) -> np.ndarray:
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    peak = 10 ** (peak_dbfs / 20)
    return (peak * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32)


def babble(rate_hz: int, seconds: float) -> np.ndarray:
    """Steady noise that falls with frequency, as long-term speech does."""
    white = np.random.default_rng(11).normal(0, 0.1, round(seconds * rate_hz))
    return lfilter([0.3], [1.0, -0.7], white).astype(np.float32)


def filtered_loudness_lufs(samples: np.ndarray, channels: int) -> float:
    """BS.1770-4 Annex 1 step by step at 48 kHz, in time, with the figures as printed."""
    shelved = lfilter(
        [1.53512485958697, -2.69169618940638, 1.19839281085285],
        [1.0, -1.69065929318241, 0.73248077421585],
        samples.astype(float),
    )
    weighted = lfilter([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621], shelved)
    return -0.691 + 10 * log10(channels * float(np.mean(weighted**2)))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("channels", "expected_lufs"), [(1, -3.01), (2, 0.0)])
def test_full_scale_997_hz(rate_hz: int, channels: int, expected_lufs: float) -> None:
    """BS.1770 (from memory; pyloudnorm and ffmpeg measured within 0.05): -3.01 LUFS on one front
    channel, 0.0 on both."""
    samples = sine(997, 0.0, rate_hz, 2.0)
    loudness_lufs = k_weighted_loudness_lufs(samples, rate_hz, channels)
    assert loudness_lufs == pytest.approx(expected_lufs, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("level_dbfs", [-23.0, -33.0])
def test_ebu_tech_3341_cases_1_and_2(rate_hz: int, level_dbfs: float) -> None:
    """EBU Tech 3341 v4 Table 1: 1 kHz stereo in phase, 20 s; reads its own level within 0.1 LU."""
    samples = sine(1000, level_dbfs, rate_hz, 20.0)
    assert k_weighted_loudness_lufs(samples, rate_hz) == pytest.approx(level_dbfs, abs=0.1)


def test_the_filters_are_the_standard_s() -> None:
    """ITU-R BS.1770-4 Annex 1, tables 1 and 2."""
    assert K_WEIGHTING_SHELF.b == (1.53512485958697, -2.69169618940638, 1.19839281085285)
    assert K_WEIGHTING_SHELF.a == (1.0, -1.69065929318241, 0.73248077421585)
    assert K_WEIGHTING_HIGH_PASS.b == (1.0, -2.0, 1.0)
    assert K_WEIGHTING_HIGH_PASS.a == (1.0, -1.99004745483398, 0.99007225036621)


def test_the_filters_are_what_their_analogue_design_gives() -> None:
    """A shelf of 4 dB at 1682 Hz and a high-pass at 38 Hz through the bilinear transform (design
    figures from memory): a slip of the pen in any printed digit would show."""
    k, q = tan(pi * 1681.974450955533 / 48_000), 0.7071752369554196
    top = 10 ** (3.999843853973347 / 20)
    corner = top**0.4996667741545416
    a0 = 1 + k / q + k * k
    b = (top + corner * k / q + k * k, 2 * (k * k - top), top - corner * k / q + k * k)
    assert K_WEIGHTING_SHELF.b == pytest.approx([value / a0 for value in b], abs=1e-9)
    a = (a0, 2 * (k * k - 1), 1 - k / q + k * k)
    assert K_WEIGHTING_SHELF.a == pytest.approx([value / a0 for value in a], abs=1e-9)
    k, q = tan(pi * 38.13547087602444 / 48_000), 0.5003270373238773
    a = (1 + k / q + k * k, 2 * (k * k - 1), 1 - k / q + k * k)
    assert K_WEIGHTING_HIGH_PASS.a == pytest.approx([value / a[0] for value in a], abs=1e-9)


@pytest.mark.parametrize("frames", [1_000, 4_801, 48_000, 100_003])
@pytest.mark.parametrize("channels", [1, 2])
def test_the_spectrum_gives_what_filtering_gives(frames: int, channels: int) -> None:
    """A faded burst, so that no energy rings on behind the clip where lfilter cannot see it."""
    samples = babble(48_000, 3.0)[:frames] * np.hanning(frames).astype(np.float32)
    expected_lufs = filtered_loudness_lufs(samples, channels)
    loudness_lufs = k_weighted_loudness_lufs(samples, 48_000, channels)
    assert loudness_lufs == pytest.approx(expected_lufs, abs=0.01)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100])
def test_a_rate_reads_as_its_clip_does_at_48_khz(rate_hz: int) -> None:
    """Nothing in the clip lies above 3 kHz, so resampling it for the comparison loses nothing."""
    narrow = babble(6_000, 2.0) * np.hanning(12_000).astype(np.float32)
    expected_lufs = filtered_loudness_lufs(resampled(narrow, 6_000, 48_000), 2)
    loudness_lufs = k_weighted_loudness_lufs(resampled(narrow, 6_000, rate_hz), rate_hz)
    assert loudness_lufs == pytest.approx(expected_lufs, abs=0.01)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000])
@pytest.mark.parametrize("kind", ["babble", "200 Hz", "1 kHz", "4 kHz"])
def test_pyloudnorm_agrees_on_steady_clips(rate_hz: int, kind: str) -> None:
    """An independent library (it gates, which changes nothing while the level is steady)."""
    frequency_hz = {"200 Hz": 200, "1 kHz": 1000, "4 kHz": 4000}
    samples = babble(rate_hz, 3.0) if kind == "babble" else sine(frequency_hz[kind], -20, rate_hz, 3.0)
    stereo = np.column_stack([samples, samples]).astype(float)
    expected_lufs = pyloudnorm.Meter(rate_hz).integrated_loudness(stereo)
    assert k_weighted_loudness_lufs(samples, rate_hz) == pytest.approx(expected_lufs, abs=0.1)


@pytest.mark.parametrize("frames", [0, 1, 48_000])
def test_silence_is_minus_infinity(frames: int) -> None:
    assert k_weighted_loudness_lufs(np.zeros(frames, np.float32), 48_000) == -inf


def test_a_single_sample_has_a_loudness() -> None:
    assert np.isfinite(k_weighted_loudness_lufs(np.ones(1, np.float32), 48_000))


@settings(deadline=None, database=None)
@given(st.floats(-60, 20))
def test_gain_moves_loudness_by_as_much(gain_db: float) -> None:
    samples = babble(22_050, 0.3)
    louder = samples * np.float32(10 ** (gain_db / 20))
    moved_lu = k_weighted_loudness_lufs(louder, 22_050) - k_weighted_loudness_lufs(samples, 22_050)
    assert moved_lu == pytest.approx(gain_db, abs=1e-4)


def test_levelled_reaches_its_target() -> None:
    clip = levelled(babble(22_050, 1.5), 22_050, target_lufs=-30.0, peak_ceiling_dbfs=-3.0)
    stereo = np.column_stack([clip, clip]).astype(float)
    assert clip.dtype == np.float32
    assert pyloudnorm.Meter(22_050).integrated_loudness(stereo) == pytest.approx(-30.0, abs=0.1)


def test_levelled_stops_at_the_ceiling() -> None:
    """A spiky clip cannot reach the target: its peak lands on the ceiling, its loudness below."""
    samples = babble(48_000, 1.0) * np.float32(0.01)
    samples[5_000] = 0.9
    clip = levelled(samples, 48_000, target_lufs=-10.0, peak_ceiling_dbfs=-3.0)
    assert 20 * log10(float(np.abs(clip).max())) == pytest.approx(-3.0, abs=1e-4)
    assert k_weighted_loudness_lufs(clip, 48_000) < -10.0


@settings(deadline=None, database=None)
@given(st.floats(-40, 0), st.floats(-20, 0), st.floats(1e-4, 1.0))
def test_levelled_never_passes_target_or_ceiling(
    target_lufs: float, ceiling_dbfs: float, gain_linear: float
) -> None:
    samples = babble(8_000, 0.2) * np.float32(gain_linear)
    clip = levelled(samples, 8_000, target_lufs=target_lufs, peak_ceiling_dbfs=ceiling_dbfs)
    over_lu = k_weighted_loudness_lufs(clip, 8_000) - target_lufs
    over_db = 20 * log10(float(np.abs(clip).max())) - ceiling_dbfs
    assert max(over_lu, over_db) == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("frames", [0, 100])
def test_silence_is_not_levelled(frames: int) -> None:
    silence = np.zeros(frames, np.float32)
    clip = levelled(silence, 48_000, target_lufs=-16.0, peak_ceiling_dbfs=-3.0)
    assert np.array_equal(clip, silence)
