"""The matched filter on signals whose place is known, among noise, between frames, and a period off."""

from __future__ import annotations

import numpy as np
import pytest
import soxr

from cuetrack.sound.tones import tone_samples
from cuetrack.take.locate import located

RATE_HZ = 48_000
NAMES = ("pip-short", "call-soft", "call-bright", "slate", "click")


def window_with(sound: np.ndarray, at: int, noise: float = 0.0) -> np.ndarray:
    made = noise * np.random.default_rng(1).standard_normal(len(sound) + 4_000)
    made[at : at + len(sound)] += sound
    return made.astype(np.float32)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("at", [0, 1_999, 2_000, 2_001, 4_000])
def test_a_tone_is_found_on_its_frame(name: str, at: int) -> None:
    sound = tone_samples(name, RATE_HZ)
    found = located(window_with(0.5 * sound, at), sound, 2_000, RATE_HZ)
    assert found.frame == at
    assert found.likeness == pytest.approx(1, abs=1e-5)
    assert found.gain_linear == pytest.approx(0.5, abs=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_noise_does_not_move_a_tone_from_where_it_is_expected(name: str) -> None:
    """20 dB under the tone: periods of a steady one are then equally good, the expected one is taken."""
    sound = tone_samples(name, RATE_HZ)
    noise = 0.1 * float(np.sqrt(np.mean(sound**2)))
    found = located(window_with(sound, 2_000, noise), sound, 2_000, RATE_HZ)
    assert found.frame == 2_000
    assert 0.98 < found.likeness < 1


@pytest.mark.parametrize("name", ["pip-short", "call-bright", "slate"])
def test_a_tone_between_two_frames(name: str) -> None:
    """Half a frame at 44,100 Hz, made by soxr at twice the rate: the next period is not taken for it."""
    fine = np.concatenate([np.zeros(2_001), tone_samples(name, 88_200), np.zeros(2_000)])
    window = soxr.resample(fine, 88_200, 44_100, "VHQ").astype(np.float32)
    found = located(window, tone_samples(name, 44_100), 1_000, 44_100)
    assert found.late_frames == pytest.approx(1_000.5, abs=0.05)


def test_silence_is_like_nothing() -> None:
    found = located(np.zeros(9_000, np.float32), tone_samples("pip-short", RATE_HZ), 2_000, RATE_HZ)
    assert (found.likeness, found.gain_linear) == (0, 0)
