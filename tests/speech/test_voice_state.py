"""What makes a voice another one, so that a batch speaks anew."""

from __future__ import annotations

import os
from dataclasses import replace
from email import message_from_string
from email.message import Message
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuetrack.speech import voice_state as module
from cuetrack.speech.voice_state import voice_state
from cuetrack.speech.voices import find_voice, load_voice


@pytest.mark.parametrize("name", ["clear", "system"])
def test_a_voice_stays_what_it_is(name: str) -> None:
    assert voice_state(load_voice(name), "en") == voice_state(load_voice(name), "en")


@pytest.mark.parametrize("name", ["clear", "system"])
@pytest.mark.parametrize("change", [{"words_per_minute": 99}, {"loudness_lufs": -20.0}])
def test_another_pace_or_loudness_is_another_voice(name: str, change: dict[str, float]) -> None:
    voice = load_voice(name)
    assert voice_state(voice, "en") != voice_state(replace(voice, **change), "en")


def test_another_version_of_the_engine_is_another_voice(monkeypatch: pytest.MonkeyPatch) -> None:
    before = voice_state(load_voice("system"), "en")
    monkeypatch.setattr(module, "metadata", lambda package: _told("Version: 99"))
    assert voice_state(load_voice("system"), "en") != before


def test_a_package_that_tells_no_version_is_as_good_as_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "metadata", lambda package: _told(""))
    assert list(module.versions_of(["soundfile"])) == ["no soundfile"]


def _told(headers: str) -> Message:
    return message_from_string(f"{headers}\n\n")


def test_clips_that_come_change_or_go_make_another_voice(tmp_path: Path) -> None:
    def state() -> str:
        return voice_state(find_voice(str(tmp_path)), "en")

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
    states = {voice_state(replace(voice, fallback=name), "en") for name in ("system", "clear")}
    assert len(states) == 2


def test_the_default_voice_of_the_language_says_what_has_no_clip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The natural voice speaks English only: of Spanish, what it is made of tells nothing."""
    voices = {"en": load_voice("clear"), "es": load_voice("system")}
    monkeypatch.setattr(module, "default_voice", lambda language: (voices[language], None))
    voice = find_voice(str(tmp_path))
    before = {language: voice_state(voice, language) for language in voices}
    voices["es"] = replace(voices["es"], pitch=40)
    assert voice_state(voice, "en") == before["en"]
    assert voice_state(voice, "es") != before["es"]


def test_a_fallback_that_nobody_needs_may_be_missing(tmp_path: Path) -> None:
    voice = replace(find_voice(str(tmp_path)), fallback="nobody")
    assert voice_state(voice, "en") == voice_state(voice, "en")


def test_what_is_no_clip_changes_no_voice(tmp_path: Path) -> None:
    """Clips may lie beside the plans, and a batch puts its tracks into a folder below."""
    before = voice_state(find_voice(str(tmp_path)), "en")
    (tmp_path / "tracks").mkdir()
    soundfile.write(tmp_path / "tracks" / "plan.wav", np.zeros(100), 48_000)
    (tmp_path / "plan.yaml").write_text("session: Quay\n", encoding="utf-8")
    assert voice_state(find_voice(str(tmp_path)), "en") == before
