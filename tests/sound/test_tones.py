"""Tones measured: pitch, length, level, edges, and what a decoder finds of them."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate, hilbert

import cuetrack
from cuetrack.errors import SoundError
from cuetrack.sound.loudness import k_weighted_loudness_lufs
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.sound.tone_table import TONES, Sweep, tone_frames
from cuetrack.sound.tones import tone_samples

RATES_HZ = (48_000, 44_100, 22_050)
STEADY = sorted(name for name, tone in TONES.items() if not isinstance(tone.waveform, Sweep))
SPECTRUM_POINTS = 2**19


def spectrum(samples: np.ndarray, rate_hz: int) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies and magnitudes, densely sampled."""
    magnitude = np.abs(np.fft.rfft(samples.astype(float), SPECTRUM_POINTS))
    return np.fft.rfftfreq(SPECTRUM_POINTS, 1 / rate_hz), magnitude


def peak_near(samples: np.ndarray, rate_hz: int, expected_hz: float) -> tuple[float, float]:
    """Frequency and magnitude of the largest line within 10 % of `expected_hz`, Hann-windowed."""
    frequency_hz, magnitude = spectrum(samples * np.hanning(len(samples)), rate_hz)
    near = np.flatnonzero(np.abs(frequency_hz - expected_hz) < 0.1 * expected_hz)
    top = near[np.argmax(magnitude[near])]
    return float(frequency_hz[top]), float(magnitude[top])


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("name", STEADY)
def test_partials_sound_at_the_table_s_frequencies_and_levels(name: str, rate_hz: int) -> None:
    samples = tone_samples(name, rate_hz)
    measured = {
        partial: peak_near(samples, rate_hz, partial.frequency_hz)
        for partial in TONES[name].waveform
        if partial.frequency_hz < 0.45 * rate_hz
    }
    loudest = max(magnitude for _, magnitude in measured.values())
    for partial, (found_hz, magnitude) in measured.items():
        assert found_hz == pytest.approx(partial.frequency_hz, rel=5e-4)
        assert 20 * np.log10(magnitude / loudest) == pytest.approx(partial.level_db, abs=0.2)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("name", "published_hz", "published_seconds"),
    [("pip-short", 1000, 0.1), ("pip-long", 1000, 0.5)],
)
def test_pips_cross_zero_as_often_as_greenwich_says(
    name: str, published_hz: int, published_seconds: float, rate_hz: int
) -> None:
    """Greenwich time signal: 1 kHz, 0.1 s and 0.5 s."""
    samples = tone_samples(name, rate_hz)
    assert len(samples) == round(published_seconds * rate_hz)
    crossings = np.count_nonzero(np.diff(np.signbit(samples)))
    assert crossings == 2 * published_hz * published_seconds


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_slate_sweeps_evenly_from_3000_to_500_hz(rate_hz: int) -> None:
    phase = np.unwrap(np.angle(hilbert(tone_samples("slate", rate_hz).astype(float))))
    found_hz = np.diff(phase) * rate_hz / (2 * np.pi)
    middle = slice(len(found_hz) // 8, -len(found_hz) // 8)  # the transform rings at the ends
    slope, start_hz = np.polyfit(np.arange(len(found_hz))[middle] / rate_hz, found_hz[middle], 1)
    assert start_hz == pytest.approx(3000, abs=5)
    assert start_hz + slope * len(found_hz) / rate_hz == pytest.approx(500, abs=5)


def test_slate_s_correlation_has_one_narrow_peak() -> None:
    samples = tone_samples("slate", 48_000).astype(float)
    correlation = correlate(samples, samples) / np.sum(samples**2)
    lag_seconds = np.abs(np.arange(len(correlation)) - (len(samples) - 1)) / 48_000
    assert np.abs(correlation[lag_seconds > 0.001]).max() < 0.15
    assert lag_seconds[np.abs(correlation) > 0.5].max() < 0.0004


def test_slate_is_found_on_its_frame_in_noise_as_strong_as_itself() -> None:
    template = tone_samples("slate", 48_000).astype(float)
    noise = np.random.default_rng(7).normal(0, np.sqrt(np.mean(template**2)), 4 * 48_000)
    noise[70_001 : 70_001 + len(template)] += template
    assert np.argmax(correlate(noise, template, mode="valid")) == 70_001


@pytest.mark.parametrize("name", STEADY)
def test_no_other_tone_is_taken_for_the_slate(name: str) -> None:
    slate, other = (tone_samples(n, 48_000).astype(float) for n in ("slate", name))
    scale = np.sqrt(np.sum(slate**2) * np.sum(other**2))
    assert np.abs(correlate(slate, other)).max() / scale < 0.5


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, *RATES_HZ, 96_000, 192_000])
@pytest.mark.parametrize("name", TONES)
def test_length_type_and_peak_level(name: str, rate_hz: int) -> None:
    samples = tone_samples(name, rate_hz)
    assert samples.dtype == np.float32
    assert samples.shape == (tone_frames(name, rate_hz),)
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(TONES[name].peak_dbfs, abs=1e-4)


@settings(deadline=None, database=None)
@given(st.sampled_from(sorted(TONES)), st.integers(8_000, 192_000))
def test_both_ends_survive_16_bits_at_every_rate(name: str, rate_hz: int) -> None:
    """Twice the smallest step of 16 bits, so that a gain of -6 dB leaves them there."""
    samples = tone_samples(name, rate_hz)
    assert abs(samples[0]) >= 2 * 2**-15
    assert abs(samples[-1]) >= 2 * 2**-15


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("name", TONES)
def test_first_and_last_decoded_sample_are_the_tone_s(name: str, rate_hz: int, subtype: str) -> None:
    programme = np.zeros(2 * rate_hz, np.float32)
    frames = tone_frames(name, rate_hz)
    programme[12_345 : 12_345 + frames] += tone_samples(name, rate_hz)
    file = BytesIO()
    soundfile.write(file, programme, rate_hz, subtype=subtype, format="WAV")
    file.seek(0)
    decoded, _ = soundfile.read(file, dtype="int32")
    sounding = np.flatnonzero(decoded)
    assert (sounding[0], sounding[-1]) == (12_345, 12_345 + frames - 1)


@pytest.mark.parametrize("rate_hz", [8_000, *RATES_HZ])
@pytest.mark.parametrize("name", TONES)
def test_the_steps_into_and_out_of_a_tone_are_far_below_it(name: str, rate_hz: int) -> None:
    samples = np.abs(tone_samples(name, rate_hz))
    assert max(samples[0], samples[-1]) < samples.max() * 10 ** (-48 / 20)


@pytest.mark.parametrize("name", STEADY)
def test_edges_splatter_at_least_25_db_less_than_a_switched_tone(name: str) -> None:
    """Beyond 400 Hz from every partial; a tone switched on and off is what a click sounds like."""
    rate_hz = 48_000
    samples = tone_samples(name, rate_hz).astype(float)
    seconds = np.arange(len(samples)) / rate_hz
    partials = TONES[name].waveform
    switched = sum(
        (-1) ** p.inverted * 10 ** (p.level_db / 20) * np.cos(2 * np.pi * (p.frequency_hz * seconds + 1 / 8))
        for p in partials
    )

    def splatter_db(tone: np.ndarray) -> float:
        frequency_hz, magnitude = spectrum(tone, rate_hz)
        distance_hz = np.min([np.abs(frequency_hz - p.frequency_hz) for p in partials], axis=0)
        power = magnitude**2
        return float(10 * np.log10(power[distance_hz > 400].sum() / power.sum()))

    assert splatter_db(samples) < splatter_db(switched) - 25


@pytest.mark.parametrize("name", TONES)
def test_almost_nothing_of_a_tone_lies_above_8_khz(name: str) -> None:
    """Where a click would be heard: 75 dB below the tone as a whole."""
    frequency_hz, magnitude = spectrum(tone_samples(name, 48_000), 48_000)
    power = magnitude**2
    assert 10 * np.log10(power[frequency_hz > 8_000].sum() / power.sum()) < -75


@pytest.mark.parametrize("name", ["pip-short", "pip-long", "click", "call-soft"])
def test_rise_and_fall_stay_under_those_of_a_pulsed_test_tone(name: str) -> None:
    """ANSI S3.6: from -20 to -1 dB in 20-50 ms, taken as the upper bound."""
    envelope = np.abs(hilbert(np.pad(tone_samples(name, 48_000), 4_800).astype(float)))
    steady = np.median(envelope[envelope > 0.5 * envelope.max()])
    for direction in (envelope, envelope[::-1]):
        heard = np.argmax(direction > steady * 10 ** (-20 / 20))
        full = np.argmax(direction > steady * 10 ** (-1 / 20))
        assert 0 < (full - heard) / 48_000 <= 0.050


def test_partials_that_do_not_fit_a_low_rate_are_left_out() -> None:
    """4500 Hz at 8 kHz would come back as 3500 Hz."""
    samples = tone_samples("call-bright", 8_000)
    _, wanted = peak_near(samples, 8_000, 1_500)
    frequency_hz, magnitude = spectrum(samples * np.hanning(len(samples)), 8_000)
    assert magnitude[(frequency_hz > 3_400)].max() < wanted * 10 ** (-60 / 20)


@pytest.mark.parametrize("name", ["count-short", "count-long", "call-bright", "pip-short", "pip-long"])
def test_tones_are_as_loud_as_the_class_mix(name: str) -> None:
    """-16 LUFS while they sound, on both channels."""
    assert k_weighted_loudness_lufs(tone_samples(name, 48_000), 48_000) == pytest.approx(-16, abs=1)


def test_the_soft_call_is_at_least_6_lu_softer() -> None:
    soft, bright = (
        k_weighted_loudness_lufs(tone_samples(name, 48_000), 48_000) for name in ("call-soft", "call-bright")
    )
    assert soft <= bright - 6


def momentary_lufs(name: str) -> float:
    """The loudest 400 ms of a tone in silence, on two channels: EBU Tech 3341."""
    meter = LoudnessMeter(48_000, [2.0])
    silence = np.zeros((24_000, 1), np.float32)
    for block in (silence[:19_200], tone_samples(name, 48_000)[:, np.newaxis], silence):
        meter.add(block)
    return float(meter.momentary_lufs().max())


# Speech: AES TD1008.
SPEECH_LUFS = -18.0


# What goes on through the work, under the words of the coach.
PACING = ("click", "tempo-down", "tempo-hold", "tempo-up")


@pytest.mark.parametrize("name", sorted(set(TONES) - {*PACING, "click-accent"}))
def test_what_tells_people_something_is_about_as_loud_as_speech(name: str) -> None:
    """Within 5 LU; common practice, no source."""
    assert momentary_lufs(name) == pytest.approx(SPEECH_LUFS, abs=5)


@pytest.mark.parametrize("name", PACING)
def test_what_paces_goes_on_under_words_and_does_not_cover_them(name: str) -> None:
    """Torcoli and others, JAES 67(12), 2019: music at least 10 LU under commentary. Not softer than 12:
    it is followed by people who breathe hard (common practice, no source)."""
    assert 10 <= SPEECH_LUFS - momentary_lufs(name) <= 12


def test_an_accent_stands_out_from_the_clicks_and_stays_under_words() -> None:
    """3 to 4 LU louder; common practice, no source."""
    assert 3 <= momentary_lufs("click-accent") - momentary_lufs("click") <= 4
    assert SPEECH_LUFS - momentary_lufs("click-accent") >= 6


def test_another_process_makes_the_same_bytes() -> None:
    code = (
        "import hashlib; from cuetrack.sound.tones import tone_samples;"
        "from cuetrack.sound.tone_table import TONES;"
        "tones = b''.join(tone_samples(name, 44100).tobytes() for name in TONES);"
        "print(hashlib.sha256(tones).hexdigest())"
    )
    here = hashlib.sha256(b"".join(tone_samples(name, 44_100).tobytes() for name in TONES))
    folder = str(Path(cuetrack.__file__).parents[1])
    there = subprocess.run(
        [sys.executable, "-c", code],
        check=True,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": folder, "PYTHONHASHSEED": "1"},
    )
    assert there.stdout.strip() == here.hexdigest()


def test_a_rate_too_low_for_a_tone_is_refused() -> None:
    with pytest.raises(SoundError, match=r"^tones need a rate of 8000 Hz or more, not 4000 Hz$"):
        tone_samples("slate", 4_000)


def test_an_unknown_tone_is_refused() -> None:
    with pytest.raises(SoundError, match="there is no tone 'gong'"):
        tone_samples("gong", 48_000)
