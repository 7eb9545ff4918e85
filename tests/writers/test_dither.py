"""Dither against what theory says of it, by spectra and by sums."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.writers.dither import dithered_16_bits

STEP = 2.0**-15


def test_the_error_is_a_quarter_of_a_step_squared_whatever_the_signal():
    """Lipshitz, Wannamaker, Vanderkooy, JAES 40(5), 1992 (from memory): a triangular dither of two steps
    makes the total error's power 3/12 of a step squared, and free of the signal."""
    rng = np.random.default_rng(5)
    for level in (0.3 * STEP, 0.5 * STEP, 100.2 * STEP, 0.5):
        samples = np.full((400_000, 1), level, np.float32)
        samples += rng.uniform(-STEP, STEP, samples.shape).astype(np.float32) * (level > 1e-3)
        error = dithered_16_bits(samples, 7) * STEP - samples.astype(np.float64)
        assert np.mean(error**2) / STEP**2 == pytest.approx(0.25, rel=0.02)
        assert np.mean(error) / STEP == pytest.approx(0, abs=0.005)


def test_a_sine_far_below_a_step_is_still_there_and_brings_no_harmonics():
    """-100 dBFS is a third of a step: without dither all of it would be silence."""
    rate_hz, frames = 48_000, 1 << 18
    turns = np.arange(frames) * round(1_000 * frames / rate_hz) / frames
    sine = (10 ** (-100 / 20) * np.sin(2 * np.pi * turns)).astype(np.float32)[:, np.newaxis]
    heard = dithered_16_bits(sine, 0)[:, 0] * STEP
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(frames))) / (frames / 4)
    bin_of = round(1_000 * frames / rate_hz)
    assert 20 * np.log10(spectrum[bin_of]) == pytest.approx(-100, abs=0.5)
    for harmonic in (2, 3, 5):
        assert 20 * np.log10(spectrum[harmonic * bin_of - 2 : harmonic * bin_of + 3].max()) < -120


def test_silence_stays_silence_and_nothing_wraps_around():
    samples = np.array([[0.0], [1.0], [-1.0], [2.0], [0.0], [-3.0]], np.float32).repeat(100, axis=1)
    stored = dithered_16_bits(samples, 3)
    assert not stored[[0, 4]].any()
    assert (stored[[1, 3]] >= 32_766).all()
    assert (stored[[2, 5]] <= -32_766).all()


def test_each_chunk_has_noise_of_its_own_and_the_same_in_every_run():
    samples = np.full((1_000, 2), 0.1, np.float32)
    one, again, other = (dithered_16_bits(samples, chunk) for chunk in (4, 4, 5))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)
