"""Another pace: the length right, the pitch kept, silence still silent."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from cuetrack.speech.speak import speak
from cuetrack.speech.stretch import hastened

RATE_HZ = 22_050
TEMPOS = [Fraction(21, 20), Fraction(23, 20), Fraction(3, 2), Fraction(4, 5)]


def harmonics(pitch_hz: float, seconds: float = 1.0) -> np.ndarray:
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * pitch_hz * k * time) / k for k in range(1, 8)]
    return (0.2 * np.sum(tones, axis=0)).astype(np.float32)


def pitch_heard_hz(samples: np.ndarray) -> float:
    """Praat's autocorrelation method (Boersma 1993), an independent program."""
    parselmouth = pytest.importorskip("parselmouth")
    pitch = parselmouth.Sound(samples.astype(float), RATE_HZ).to_pitch(pitch_floor=60, pitch_ceiling=500)
    heard = pitch.selected_array["frequency"]
    return float(np.median(heard[heard > 0]))


@pytest.mark.parametrize("tempo", TEMPOS)
@pytest.mark.parametrize("frames", [1, 100, 660, 22_050, 30_001])
def test_the_length_is_exact(tempo, frames):
    stretched = hastened(harmonics(120, 2)[:frames], RATE_HZ, tempo)
    assert abs(len(stretched) - frames / tempo) <= Fraction(1, 2)
    assert stretched.dtype == np.float32


@pytest.mark.parametrize("tempo", TEMPOS)
@pytest.mark.parametrize("pitch_hz", [80, 123, 210, 400])
def test_the_pitch_is_kept_within_a_hundredth(tempo, pitch_hz):
    tone = harmonics(pitch_hz)
    assert pitch_heard_hz(tone) == pytest.approx(pitch_hz, rel=0.002)  # the ear of the test is right
    assert pitch_heard_hz(hastened(tone, RATE_HZ, tempo)) == pytest.approx(pitch_hz, rel=0.01)


@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_voice_keeps_its_pitch_and_its_level(system, cache, tempo):
    text = "Shoulders down, keep breathing."
    spoken = speak([text], system, RATE_HZ, cache=cache)[text].samples
    stretched = hastened(spoken, RATE_HZ, tempo)
    assert pitch_heard_hz(stretched) == pytest.approx(pitch_heard_hz(spoken), rel=0.03)
    assert np.abs(stretched).max() <= np.abs(spoken).max()
    assert np.sqrt(np.mean(stretched**2)) == pytest.approx(np.sqrt(np.mean(spoken**2)), rel=0.1)


@pytest.mark.parametrize("tempo", TEMPOS)
def test_silence_stays_silence_and_where_it_was(tempo):
    assert not hastened(np.zeros(9_000, np.float32), RATE_HZ, tempo).any()
    pause = np.concatenate([harmonics(120, 0.5), np.zeros(RATE_HZ, np.float32), harmonics(120, 0.5)])
    stretched = hastened(pause, RATE_HZ, tempo)
    middle = len(stretched) // 2
    half = int(0.4 * RATE_HZ / tempo)
    assert not stretched[middle - half : middle + half].any()
    assert stretched[: int(0.45 * RATE_HZ / tempo)].any()


def test_the_start_keeps_its_level():
    """A count is placed by its onset: a fade at the start would move it."""
    tone = harmonics(200)
    stretched = hastened(tone, RATE_HZ, Fraction(23, 20))
    assert np.allclose(stretched[:300], tone[:300], atol=1e-6)


def test_its_own_tempo_and_nothing_come_back_as_they_are():
    tone = harmonics(200)
    assert hastened(tone, RATE_HZ, Fraction(1)) is tone
    assert hastened(tone[:0], RATE_HZ, Fraction(3, 2)).size == 0
