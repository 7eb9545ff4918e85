"""Clips: measures, immutability, another rate."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.speech.clip import SpeechClip, resampled_to
from cuetrack.speech.length import SpokenLength


def tone(rate_hz: int, frames: int) -> np.ndarray:
    return (0.5 * np.sin(2 * np.pi * 500 * np.arange(frames) / rate_hz)).astype(np.float32)


def test_a_clip_measures_itself():
    assert SpeechClip(tone(22_050, 300), 22_050, 40).length == SpokenLength(300, 40)


def test_a_clip_is_never_written_to():
    with pytest.raises(ValueError, match="read-only"):
        SpeechClip(tone(22_050, 300), 22_050, 40).samples[0] = 1.0


def test_at_its_own_rate_a_clip_stays_itself():
    clip = SpeechClip(tone(22_050, 300), 22_050, 40)
    assert resampled_to(clip, 22_050) is clip


@pytest.mark.parametrize(("rate_hz", "onset_frames"), [(48_000, 2177), (44_100, 2000), (8_000, 363)])
def test_the_onset_stays_at_its_instant(rate_hz, onset_frames):
    # 1000 / 22,050 s is 2176.87 frames at 48 kHz, 2000 at 44.1 and 362.81 at 8.
    clip = resampled_to(SpeechClip(tone(22_050, 22_050), 22_050, 1000), rate_hz)
    assert (clip.rate_hz, clip.onset_frames) == (rate_hz, onset_frames)
    assert abs(len(clip.samples) - rate_hz) <= 1
    assert clip.samples.dtype == np.float32
