"""The weighting by matrices against the recursive filter itself, as scipy runs it sample by sample."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import sosfilt

from cuetrack.sound.k_weighting import MEMORY_VALUES, UNIT_FRAMES, KWeighting
from cuetrack.sound.loudness import k_weighting_at
from tests.helpers.signals import programme_material

RATES_HZ = (8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000)
UNITS = 4
# Of full scale: a hundredth of what a float32 sample itself rounds. At 48 kHz it is 4e-12 (measured).
ROUNDING = 6e-10


def recursive(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """Shape (channels, frames)."""
    sections = np.array([(*section.b, *section.a) for section in k_weighting_at(rate_hz)])
    return sosfilt(sections, samples.astype(np.float64), axis=1)


def unit_by_unit(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    channels, frames = samples.shape
    weighting, memory, made = KWeighting(rate_hz, channels), np.zeros((channels, MEMORY_VALUES)), []
    for start in range(0, frames, UNIT_FRAMES):
        weighted, memory = weighting.weighted(samples[:, start : start + UNIT_FRAMES], memory)
        made.append(weighted.copy())
    return np.concatenate(made, axis=1)


def noise(channels: int, units: int = UNITS) -> np.ndarray:
    return np.random.default_rng(7).normal(0, 0.3, (channels, units * UNIT_FRAMES)).astype(np.float32)


@pytest.mark.parametrize("channels", [1, 2, 5])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_it_is_the_recursive_filter(rate_hz: int, channels: int) -> None:
    """Through the seams of runs, groups and units, which all lie in these samples."""
    samples = noise(channels)
    assert np.abs(unit_by_unit(samples, rate_hz) - recursive(samples, rate_hz)).max() < ROUNDING


@pytest.mark.parametrize("kind", ["step", "hum", "full scale at half the rate", "programme"])
def test_what_rings_longest_and_what_is_loudest(kind: str) -> None:
    """The high-pass remembers longest, so what it takes away tells most: an offset, and 20 Hz."""
    time = np.arange(UNITS * UNIT_FRAMES)
    samples = {
        "step": lambda: np.where(time < 1_000, 0.0, 1.0),
        "hum": lambda: np.sin(2 * np.pi * 20 / 48_000 * time),
        "full scale at half the rate": lambda: np.where(time % 2, 1.0, -1.0),
        "programme": lambda: programme_material(48_000, 6.0)[: len(time), 0],
    }[kind]()[np.newaxis].astype(np.float32)
    assert np.abs(samples).max() > 0.1
    assert np.abs(unit_by_unit(samples, 48_000) - recursive(samples, 48_000)).max() < ROUNDING


@pytest.mark.parametrize("frame", [0, 31, 32, 511, 512, UNIT_FRAMES - 1, UNIT_FRAMES])
def test_a_single_sample_rings_on_as_it_should(frame: int) -> None:
    """From the last and the first frame of a run, a group and a unit; nothing sounds before it."""
    samples = np.zeros((1, 2 * UNIT_FRAMES), np.float32)
    samples[0, frame] = 1.0
    made = unit_by_unit(samples, 48_000)
    assert not made[0, :frame].any()
    # The first tap of both filters: ITU-R BS.1770-4 Annex 1, tables 1 and 2 (second-hand).
    assert made[0, frame] == pytest.approx(1.53512485958697, abs=1e-9)
    assert np.abs(made - recursive(samples, 48_000)).max() < ROUNDING


def test_channels_do_not_hear_each_other() -> None:
    samples = noise(2, 2)
    samples[1] = 0.0
    made = unit_by_unit(samples, 48_000)
    assert not made[1].any()
    assert made[0] == pytest.approx(unit_by_unit(samples[:1], 48_000)[0], abs=ROUNDING)


def test_the_memory_is_the_caller_s() -> None:
    """A unit that is only looked at leaves no trace."""
    samples, weighting = noise(1, 2), KWeighting(48_000, 1)
    start = np.zeros((1, MEMORY_VALUES))
    first, after = weighting.weighted(samples[:, :UNIT_FRAMES], start)
    once, kept = first.copy(), after.copy()
    weighting.weighted(samples[:, UNIT_FRAMES:], after)
    again, after_again = weighting.weighted(samples[:, :UNIT_FRAMES], start)
    assert not start.any()
    assert np.array_equal(after, kept)
    assert np.array_equal(once, again)
    assert np.array_equal(after_again, kept)
