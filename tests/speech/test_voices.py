"""Voice files: found, read, and their mistakes told like those of a plan."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import cuetrack
from cuetrack.errors import ExitCode, PlanError, SpeechError
from cuetrack.speech.voices import load_voice, read_voice, voice_names, voices_folder

GOOD = """\
name: quay
description: A voice for tests.
engine: pyttsx3
language: en-GB
words per minute: 140
licence: none
origin: invented
audition: Five, four, three, two, one.
"""


def test_both_first_voices_are_there():
    assert {"clear", "system"} <= set(voice_names())


@pytest.mark.parametrize("name", voice_names())
def test_every_voice_of_the_folder_is_whole(name):
    voice = load_voice(name)
    assert voice.name == name
    assert voice.language == "en"
    assert all((voice.description, voice.licence, voice.origin, voice.audition))


def test_clear_is_steady_and_system_keeps_the_machines_pace():
    # Audiobooks are read at 150-160 words a minute (publishers, second-hand).
    assert 150 <= load_voice("clear").words_per_minute <= 160
    assert load_voice("system").words_per_minute is None
    assert load_voice("system").expected_words_per_minute == 200


def test_an_unknown_voice_names_the_nearest():
    with pytest.raises(SpeechError, match="there is no voice 'cleer'; did you mean 'clear'") as caught:
        load_voice("cleer")
    assert caught.value.exit_code is ExitCode.ERRORS


@pytest.mark.parametrize("name", ["", "../pyproject", "clear.yaml", "Clear/../clear", "\x00"])
def test_a_name_is_never_a_path(name):
    with pytest.raises(SpeechError, match="there is no voice"):
        load_voice(name)


def test_a_voice_is_read_from_its_file(tmp_path):
    file = tmp_path / "quay.yaml"
    file.write_text(GOOD, encoding="utf-8")
    voice = read_voice(file)
    assert (voice.language, voice.words_per_minute) == ("en-GB", 140)


@pytest.mark.parametrize(
    ("written", "instead", "line", "message", "hint"),
    [
        ("origin:", "orign:", 7, "unknown key 'orign'", "did you mean 'origin'?"),
        ("pyttsx3", "pyttsx", 3, "'engine' cannot be 'pyttsx'", "did you mean 'pyttsx3'?"),
        (" 140", " 10", 5, "'words per minute' is '10', allowed is at least 80", None),
        (" 140", " fast", 5, "'words per minute' has to be a whole number, found 'fast'", None),
        ("quay", "kai", 1, "voice 'kai' lies in a file named 'quay.yaml'", "name the file kai.yaml"),
        ("en-GB", "e n", 4, "'e n' is no language", "write a tag such as en"),
    ],
)
def test_a_mistake_is_told_at_its_line(tmp_path, written, instead, line, message, hint):
    file = tmp_path / "quay.yaml"
    file.write_text(GOOD.replace(written, instead), encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        read_voice(file)
    found = [d for d in caught.value.diagnostics if d.message.startswith(message)]
    assert [d.place.line for d in found] == [line], str(caught.value)
    assert hint is None or found[0].hint.startswith(hint)


def test_an_installed_package_carries_its_own_folder(tmp_path, monkeypatch):
    (tmp_path / "cuetrack" / "voices").mkdir(parents=True)
    monkeypatch.setattr(cuetrack, "__file__", str(tmp_path / "cuetrack" / "__init__.py"))
    assert voices_folder() == tmp_path.resolve() / "cuetrack" / "voices"


def test_the_light_half_of_the_room_loads_no_numpy():
    """`cuetrack check` knows voices, wordings and estimated lengths; it must start at once."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from cuetrack.speech.voices import load_voice\n"
        "from cuetrack.speech.phrases.wording import phrase_text\n"
        "from cuetrack.speech.length import estimated_seconds\n"
        "voice = load_voice('clear')\n"
        "estimated_seconds(phrase_text('go', {}), voice.expected_words_per_minute)\n"
        "sys.exit('numpy' in sys.modules)"
    )
    root = Path(cuetrack.__file__).parents[1]
    assert subprocess.run([sys.executable, "-c", code, str(root)], check=False).returncode == 0
