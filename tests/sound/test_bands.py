"""Octave bands against filters made by scipy and against noise whose level is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from cuetrack.sound.bands import (
    CENTRES_HZ,
    masked_threshold_db,
    octave_levels_db,
    over_masked_threshold_db,
    overlapping_levels_db,
)

RATES_HZ = (22_050, 44_100, 48_000, 96_000)


def sine(frequency_hz: float, level_db: float, rate_hz: int, seconds: float) -> np.ndarray:
    """A sine of a mean-square level in dB."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    return (10 ** (level_db / 20) * np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32)


def white(level_db: float, frames: int, channels: int = 1) -> np.ndarray:
    noise = np.random.default_rng(7_731).normal(0, 10 ** (level_db / 20), (frames, channels))
    return noise.astype(np.float32)


def filtered_levels_db(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """The same levels by another way: band-pass filters in time, of eighth order."""
    levels = []
    for centre_hz in CENTRES_HZ:
        edges_hz = [centre_hz / 2**0.5, centre_hz * 2**0.5]
        band = sosfilt(
            butter(4, edges_hz, "bandpass", fs=rate_hz, output="sos"), samples.astype(float), axis=0
        )
        levels.append(10 * np.log10(np.mean(band**2)))
    return np.array(levels)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("band", range(len(CENTRES_HZ)))
def test_a_sine_is_in_its_own_band_at_its_own_level(band: int, rate_hz: int) -> None:
    levels_db = octave_levels_db(sine(CENTRES_HZ[band], -23.0, rate_hz, 1.0), rate_hz)
    assert levels_db[band] == pytest.approx(-23.0, abs=0.01)
    assert np.delete(levels_db, band).max() < -23.0 - 40


@pytest.mark.parametrize("excerpt", [False, True])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_white_noise_has_a_band_s_share_of_its_power(rate_hz: int, excerpt: bool) -> None:
    """Power is even over the band up to half the rate, so an octave's share is its width."""
    levels_db = octave_levels_db(white(-20.0, 20 * rate_hz), rate_hz, excerpt=excerpt)
    widths_hz = np.array(CENTRES_HZ) * (2**0.5 - 2**-0.5)
    assert levels_db == pytest.approx(-20.0 + 10 * np.log10(widths_hz / (rate_hz / 2)), abs=0.3)


def test_filters_measure_the_same() -> None:
    noise = white(-20.0, 240_000)
    assert octave_levels_db(noise, 48_000) == pytest.approx(filtered_levels_db(noise, 48_000), abs=0.5)


@pytest.mark.parametrize("excerpt", [False, True])
def test_channels_that_are_alike_count_once(excerpt: bool) -> None:
    """A track of one channel and one of two are then judged alike."""
    one = white(-20.0, 4_801)
    both = np.repeat(one, 2, axis=1)
    expected = octave_levels_db(one, 48_000, excerpt=excerpt)
    assert octave_levels_db(both, 48_000, excerpt=excerpt) == pytest.approx(expected)
    assert octave_levels_db(one[:, 0], 48_000, excerpt=excerpt) == pytest.approx(expected)


@pytest.mark.parametrize("start", range(0, 960, 97))
def test_an_excerpt_of_a_low_note_stays_low(start: int) -> None:
    """40 ms of a bass note, cut anywhere: 60 dB down where a click is heard, and not so if merely cut."""
    note = sine(65.0, -12.0, 48_000, 1.0)[start : start + 1_920]
    band = CENTRES_HZ.index(2000)
    assert octave_levels_db(note, 48_000, excerpt=True)[band] < -12.0 - 60


def test_an_untapered_excerpt_would_not() -> None:
    band = CENTRES_HZ.index(2000)
    spilt_db = [
        octave_levels_db(sine(65.0, -12.0, 48_000, 1.0)[start : start + 1_920], 48_000)[band]
        for start in range(0, 960, 97)
    ]
    assert max(spilt_db) > -12.0 - 40


@pytest.mark.parametrize("frames", [1, 2, 3, 480])
@pytest.mark.parametrize("excerpt", [False, True])
def test_the_shortest_sounds_have_levels(frames: int, excerpt: bool) -> None:
    assert np.isfinite(octave_levels_db(white(-20.0, frames), 48_000, excerpt=excerpt)).all()


def test_silence_is_at_the_floor() -> None:
    assert octave_levels_db(np.zeros((960, 2), np.float32), 48_000) == pytest.approx(-150.0)


def test_bands_above_half_the_rate_hold_nothing() -> None:
    """At 4 kHz there is nothing above 2 kHz."""
    levels_db = octave_levels_db(white(-20.0, 80_000), 4_000)
    assert levels_db[CENTRES_HZ.index(4000)] == pytest.approx(-150.0)


def test_what_a_noise_masks_falls_by_seven_and_a_half_db_an_octave() -> None:
    """ISO 7731, octave bands (second-hand): the band's own level, or the threshold below less 7.5 dB."""
    noise_db = np.array([-10.0, -50.0, -50.0, -50.0, -30.0, -60.0, -60.0])
    assert masked_threshold_db(noise_db).tolist() == [-10.0, -17.5, -25.0, -32.5, -30.0, -37.5, -45.0]


def test_a_noise_masks_nothing_below_itself() -> None:
    noise_db = np.array([-90.0, -90.0, -90.0, -90.0, -90.0, -20.0, -90.0])
    assert masked_threshold_db(noise_db)[:5].tolist() == [-90.0] * 5


def in_own_bands(*levels_db: float) -> np.ndarray:
    """Levels of a sound that lies in the middle of each band, so that no other octave holds it."""
    return np.array([[-150.0, level_db, -150.0] for level_db in levels_db])


def test_a_signal_is_judged_in_the_octave_where_it_stands_out_most() -> None:
    """MIL-STD-1472E 5.3: 20 dB in at least one octave band is enough."""
    noise_db = np.full((7, 3), -40.0)
    signal_db = in_own_bands(-90.0, -90.0, -45.0, -20.0, -39.0, -90.0, -90.0)
    assert over_masked_threshold_db(signal_db, noise_db) == 20.0


def test_octaves_outside_200_to_5000_hz_do_not_count() -> None:
    """MIL-STD-1472E 5.3: what stands out at 63 or 125 Hz only is no signal."""
    noise_db = np.full((7, 3), -40.0)
    signal_db = in_own_bands(0.0, 0.0, -38.0, -90.0, -90.0, -90.0, -90.0)
    assert over_masked_threshold_db(signal_db, noise_db) == 2.0


def test_where_a_signal_has_next_to_no_power_it_is_not_heard() -> None:
    """A tone of 500 Hz has a thousandth of its power at 2 kHz, where there is no noise at all."""
    noise_db = in_own_bands(-40.0, -40.0, -40.0, -40.0, -40.0, -150.0, -150.0)
    signal_db = in_own_bands(-90.0, -90.0, -90.0, -30.0, -90.0, -60.0, -90.0)
    assert over_masked_threshold_db(signal_db, noise_db) == 10.0


def band_of_noise(low_hz: float, high_hz: float, level_db: float) -> np.ndarray:
    """Half a second of noise that lies between two frequencies and nowhere else."""
    spectrum = np.fft.rfft(np.random.default_rng(1_472).standard_normal(24_000))
    frequency_hz = np.fft.rfftfreq(24_000, 1 / 48_000)
    spectrum[(frequency_hz < low_hz) | (frequency_hz >= high_hz)] = 0
    noise = np.fft.irfft(spectrum, 24_000)
    return (noise * 10 ** (level_db / 20) / noise.std()).astype(np.float32)


@pytest.mark.parametrize("frequency_hz", [360, 500, 600, 700, 715, 750, 850, 1000, 1189, 1400, 1430, 2500])
@pytest.mark.parametrize("side", ["below", "above"])
def test_noise_just_beyond_a_band_s_edge_masks_a_tone_near_it(frequency_hz: float, side: str) -> None:
    """A tone and a third of an octave of noise beside it, as a filter hears both whose octave has the tone
    in its middle (MIL-STD-1472E 5.3: the signal-to-noise ratio in one octave band): never more than it."""
    near_hz = frequency_hz * (1.03 if side == "above" else 1 / 1.03)
    far_hz = near_hz * 2 ** (1 / 3 if side == "above" else -1 / 3)
    tone = sine(frequency_hz, -23.0, 48_000, 0.5)
    noise = band_of_noise(min(near_hz, far_hz), max(near_hz, far_hz), -30.0)
    edges_hz = [frequency_hz / 2**0.5, frequency_hz * 2**0.5]
    octave = butter(6, edges_hz, "bandpass", fs=48_000, output="sos")
    tone_db, noise_db = (
        10 * np.log10(np.mean(sosfilt(octave, samples.astype(float)) ** 2)) for samples in (tone, noise)
    )
    found_db = over_masked_threshold_db(
        overlapping_levels_db(tone, 48_000), overlapping_levels_db(noise, 48_000, excerpt=True)
    )
    assert found_db == pytest.approx(tone_db - noise_db, abs=0.3)
