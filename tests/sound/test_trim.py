"""Where speech-like clips begin and end."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.sound.trim import audible_span

RATE_HZ = 22_050


def word(frames: int, level: float = 0.5) -> np.ndarray:
    """A voiced stretch, loud from its first sample to its last."""
    phase = 2 * np.pi * 140 * np.arange(frames) / RATE_HZ
    return (level * np.cos(phase) * (1 - 0.5 * np.sin(phase / 7) ** 2)).astype(np.float32)


def spoken(lead: int, clip: np.ndarray, tail: int) -> np.ndarray:
    return np.concatenate([np.zeros(lead, np.float32), clip, np.zeros(tail, np.float32)])


@settings(deadline=None, database=None)
@given(st.integers(0, 3_000), st.integers(500, 5_000), st.integers(0, 3_000))
def test_digital_silence_is_cut_to_within_the_threshold(lead: int, frames: int, tail: int) -> None:
    """Only samples under -50 dB, where the wave passes through zero, may be cut from the word."""
    clip = word(frames)
    start, end = audible_span(spoken(lead, clip, tail), RATE_HZ)
    audible = np.flatnonzero(np.abs(clip) >= np.abs(clip).max() * 10 ** (-50 / 20))
    assert (start, end) == (lead + audible[0], lead + audible[-1] + 1)


@settings(deadline=None, database=None)
@given(st.floats(0.02, 2.0))
def test_loudness_of_the_clip_does_not_move_the_span(gain_linear: float) -> None:
    clip = spoken(700, word(2_000), 900)
    assert audible_span(clip * np.float32(gain_linear), RATE_HZ) == audible_span(clip, RATE_HZ)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 48_000, 192_000])
def test_a_weak_consonant_before_and_after_the_vowel_is_kept(rate_hz: int) -> None:
    """The hiss of an f at -40 dB under the vowel's peak is part of "five"."""
    random = np.random.default_rng(5)
    hiss = random.normal(0, 0.5 * 10 ** (-40 / 20), rate_hz // 20)
    vowel = 0.5 * np.cos(2 * np.pi * 140 * np.arange(rate_hz // 5) / rate_hz)
    silence = np.zeros(rate_hz // 10)
    clip = np.concatenate([silence, hiss, vowel, hiss, silence]).astype(np.float32)
    start, end = audible_span(clip, rate_hz)
    assert abs(start - len(silence)) <= rate_hz * 0.001
    assert abs(end - (len(clip) - len(silence))) <= rate_hz * 0.001


def test_an_engine_s_noise_is_not_speech_although_its_peaks_pass_the_threshold() -> None:
    noise_rms = 0.5 * 10 ** (-58 / 20)
    clip = spoken(11_025, word(4_000), 11_025)
    clip += np.random.default_rng(9).normal(0, noise_rms, len(clip)).astype(np.float32)
    assert np.abs(clip[:11_025]).max() > 0.5 * 10 ** (-50 / 20)
    start, end = audible_span(clip, RATE_HZ)
    assert 0 <= 11_025 - start <= 0.005 * RATE_HZ
    assert 0 <= end - (11_025 + 4_000) <= 0.005 * RATE_HZ


def test_a_pause_between_words_stays_inside() -> None:
    clip = np.concatenate([spoken(500, word(1_000), 8_000), spoken(0, word(1_000), 500)])
    start, end = audible_span(clip, RATE_HZ)
    assert start == 500
    assert end > 9_500


def test_the_threshold_is_relative_to_the_peak() -> None:
    clip = spoken(100, np.concatenate([word(1_000, 0.005), word(1_000, 0.5)]), 100)
    assert audible_span(clip, RATE_HZ)[0] == 100
    assert audible_span(clip, RATE_HZ, -30.0)[0] == pytest.approx(1_100, abs=0.005 * RATE_HZ)


@pytest.mark.parametrize("frames", [0, 1, 50, 5_000])
def test_silence_has_no_span(frames: int) -> None:
    assert audible_span(np.zeros(frames, np.float32), RATE_HZ) == (0, 0)


def test_what_lies_under_the_floor_has_no_span() -> None:
    assert audible_span(word(2_000, level=1e-4), RATE_HZ) == (0, 0)  # -80 dBFS
    assert audible_span(word(2_000, level=1e-4), RATE_HZ, floor_dbfs=-90.0)[0] == 0


def test_a_clip_shorter_than_a_stretch_is_judged_as_one() -> None:
    assert audible_span(np.array([0.0, 0.5, 0.5, 0.0], np.float32), RATE_HZ) == (1, 3)


def test_a_single_loud_sample_is_a_span() -> None:
    clip = np.zeros(1_000, np.float32)
    clip[321] = 0.9
    assert audible_span(clip, RATE_HZ) == (321, 322)
