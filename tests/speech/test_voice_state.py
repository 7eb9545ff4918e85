"""What makes a voice another one, so that a batch speaks anew."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuetrack.speech import voice_state as module
from cuetrack.speech.voice_state import voice_state
from cuetrack.speech.voices import find_voice, load_voice


@pytest.mark.parametrize("name", ["clear", "system"])
def test_a_voice_stays_what_it_is(name: str) -> None:
    assert voice_state(load_voice(name)) == voice_state(load_voice(name))


@pytest.mark.parametrize("name", ["clear", "system"])
@pytest.mark.parametrize("change", [{"words_per_minute": 99}, {"loudness_lufs": -20.0}])
def test_another_pace_or_loudness_is_another_voice(name: str, change: dict[str, float]) -> None:
    voice = load_voice(name)
    assert voice_state(voice) != voice_state(replace(voice, **change))


def test_another_version_of_the_engine_is_another_voice(monkeypatch: pytest.MonkeyPatch) -> None:
    before = voice_state(load_voice("system"))
    monkeypatch.setattr(module, "version", lambda package: "99")
    assert voice_state(load_voice("system")) != before


def test_clips_that_come_change_or_go_make_another_voice(tmp_path: Path) -> None:
    def state() -> str:
        return voice_state(find_voice(str(tmp_path)))

    states = [state()]
    clip = tmp_path / "rest.wav"
    soundfile.write(clip, np.zeros(100), 48_000)
    states.append(state())
    soundfile.write(clip, np.zeros(200), 48_000)
    states.append(state())
    os.utime(clip, (1, 1))
    states.append(state())
    assert len(set(states)) == 4
    clip.unlink()
    assert state() == states[0]


def test_the_fallback_of_clips_counts(tmp_path: Path) -> None:
    voice = find_voice(str(tmp_path))
    assert voice_state(replace(voice, fallback="system")) != voice_state(replace(voice, fallback="clear"))
