"""One plan's speaker: one engine for all its clips, and each thing told once."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import numpy as np
import pytest
import soundfile

from cuetrack.speech import speak
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.engines import engine as engines
from cuetrack.speech.speaker import Manner, Speaker
from cuetrack.speech.voices import find_voice

RATE_HZ = 16_000
FASTER = Fraction(11, 10)


@pytest.fixture
def told():
    return []


@pytest.fixture
def speaker(tmp_path, told):
    """A coach who has recorded only "Row."."""
    folder = tmp_path / "coach"
    folder.mkdir()
    time = np.arange(RATE_HZ // 2) / RATE_HZ
    soundfile.write(folder / "row.wav", 0.3 * np.sin(2 * np.pi * 440 * time), RATE_HZ)
    voice = dataclasses.replace(find_voice(f"{folder}/"), fallback="system")
    return Speaker(Manner(voice, "en", "full", {}), RATE_HZ, ClipCache(tmp_path / "kept"), told.append)


def test_another_voice_is_told_once_of_each_text_however_fast_it_is_spoken(speaker, told):
    speaker.speak(["Row.", "Press."])
    assert [text.rsplit(": ", 1)[1] for text in told] == ["'Press.'"]
    assert speaker.length("Press.", FASTER).frames < speaker.length("Press.").frames
    assert speaker.length("Row.", FASTER).frames < speaker.length("Row.").frames
    assert len(told) == 1
    speaker.clip("Lift.", FASTER)  # in other words, as a terse phrase is
    assert [text.rsplit(": ", 1)[1] for text in told] == ["'Press.'", "'Lift.'"]


def test_all_clips_are_spoken_by_one_engine(speaker, monkeypatch):
    made = []

    def counted(voice, language):
        made.append(voice.name)
        return engine_of(voice, language)

    engine_of = engines.engine_of
    for module in (engines, speak):
        monkeypatch.setattr(module, "engine_of", counted)
    speaker.speak(["Row."])
    speaker.clip("Row.", FASTER)
    speaker.clip("Row.", Fraction(6, 5))
    assert len(made) == 1
