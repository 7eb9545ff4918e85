"""Dither against what theory says of it, by spectra and by sums."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.writers.audio import write_audio
from cuetrack.writers.dither import dithered_16_bits
from cuetrack.writers.formats import AUDIO_FORMATS
from cuetrack.writers.tags import Tags
from tests.helpers.decode import decoded

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


def test_a_flac_of_16_bits_has_its_noise_at_93_3_db_below_a_full_sine(tmp_path):
    """A quarter of a step squared is 2^-32 of full scale squared, a full sine half of it: -93.32 dBFS.

    Read back by ffmpeg; a sine of -100 dBFS, under that noise, still stands out of its spectrum.
    """
    frames, path = 480_000, tmp_path / "quay.flac"
    sine = (1e-5 * np.sin(2 * np.pi * 1_000 * (np.arange(frames) + 0.3) / 48_000)).astype(np.float32)
    flac = AUDIO_FORMATS[".flac"]
    write_audio(
        path,
        [sine[:, np.newaxis]],
        rate_hz=48_000,
        channels=1,
        frames=frames,
        audio_format=flac,
        tags=Tags("Quay"),
        quality="small",
    )
    heard = decoded(path, 1)[:, 0] / 2**31
    noise = heard - sine
    assert 10 * np.log10(np.mean(noise**2) / 0.5) == pytest.approx(-93.32, abs=0.05)
    spectrum = np.abs(np.fft.rfft(heard)) / (frames / 2)
    assert np.argmax(spectrum) == 10_000
    assert 20 * np.log10(spectrum[10_000]) == pytest.approx(-100, abs=0.2)
    assert 20 * np.log10(np.delete(spectrum, 10_000).max()) < -130


def test_silence_stays_silence_and_nothing_wraps_around():
    levels = np.array([0.0, 1.0, -1.0, 2.0, 0.0, -3.0], np.float32)
    stored = dithered_16_bits(levels.repeat(100)[:, np.newaxis], 3).reshape(6, 100)
    assert not stored[[0, 4]].any()
    assert (stored[[1, 3]] >= 32_766).all()
    assert (stored[[2, 5]] <= -32_766).all()
    assert not dithered_16_bits(np.zeros((16_384, 2), np.float32), 5).any()


def test_a_silent_channel_and_a_pause_stay_silent_but_a_crossing_of_zero_does_not():
    """Else the noise would come and go with a soft sound that has been 16 bits before."""
    rng = np.random.default_rng(5)
    soft = (rng.integers(-1, 2, 60_000) * STEP).astype(np.float32)
    soft[20_000:30_000] = 0
    stored = dithered_16_bits(np.stack([soft, np.zeros_like(soft)], axis=1), 1)
    assert not stored[:, 1].any()
    assert not stored[20_000:30_000, 0].any()
    crossing = stored[:20_000, 0][soft[:20_000] == 0]
    assert np.mean((crossing * 1.0) ** 2) == pytest.approx(0.25, rel=0.1)


def test_each_chunk_has_noise_of_its_own_and_the_same_in_every_run():
    samples = np.full((1_000, 2), 0.1, np.float32)
    one, again, other = (dithered_16_bits(samples, chunk) for chunk in (4, 4, 5))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)
