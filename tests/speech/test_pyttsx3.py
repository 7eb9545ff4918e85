"""The first engine: the same phrase always gives the same samples, and nothing it does gets out."""

from __future__ import annotations

import dataclasses
import hashlib
import random
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import numpy as np
import pytest

from cuetrack.errors import ExitCode, SpeechError, VoiceMissingError
from cuetrack.speech.engines import pyttsx3_child, pyttsx3_engine
from cuetrack.speech.engines.engine import Utterance, engine_of
from cuetrack.speech.engines.pyttsx3_engine import Pyttsx3Engine

FIVE = Utterance("five", "five")
PHRASES = ("five", "Band row.", "Change sides. Right side.", "Shoulders down, keep breathing. " * 8)
on_linux = pytest.mark.skipif(sys.platform in {"darwin", "win32"}, reason="about the packaged eSpeak NG")


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """The folder in which the engine makes its temporary files."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def program(tmp_path, system):
    """Make a program that stands in for the one that speaks."""

    def made(code: str) -> Pyttsx3Engine:
        script = tmp_path / "program.py"
        script.write_text(code, encoding="utf-8")
        return Pyttsx3Engine(system, "en", program=script, timeout_seconds=20)

    return made


def spoken(engine, text):
    return engine.spoken(Utterance(text, text))


def digest(engine, text) -> str:
    raw = spoken(engine, text)
    return hashlib.sha256(raw.samples.tobytes()).hexdigest()


def test_the_voice_names_its_engine(system):
    assert isinstance(engine_of(system, "en"), Pyttsx3Engine)


def test_the_same_phrase_gives_the_same_samples_in_every_order(system):
    """eSpeak NG keeps state between phrases; in one process the second one comes out differently."""
    engine = Pyttsx3Engine(system, "en")
    alone = {text: digest(engine, text) for text in PHRASES}
    order = [text for text in PHRASES for _ in range(6)]
    random.Random(7).shuffle(order)
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda text: digest(engine, text), order))
    assert [alone[text] for text in order] == together
    assert len(set(alone.values())) == len(PHRASES)


def test_the_pace_is_kept_in_every_process(system):
    """pyttsx3's own loop loses a setting now and then; a lost pace speaks at 200 words a minute."""
    slow = dataclasses.replace(system, words_per_minute=100)
    own = dataclasses.replace(system, words_per_minute=None)
    with ThreadPoolExecutor(6) as pool:
        lengths = set(
            pool.map(lambda _: len(spoken(Pyttsx3Engine(slow, "en"), "Band row.").samples), range(24))
        )
    assert len(lengths) == 1
    assert lengths.pop() > 1.5 * len(spoken(Pyttsx3Engine(own, "en"), "Band row.").samples)


def test_samples_are_mono_float_within_full_scale(system):
    raw = spoken(Pyttsx3Engine(system, "en"), "Band row.")
    assert (raw.samples.dtype, raw.samples.ndim) == (np.float32, 1)
    assert 0.01 < np.abs(raw.samples).max() <= 1.0
    assert raw.rate_hz >= 16_000


@pytest.mark.parametrize("text", ['"; exit 1 #$(exit 1)`exit 1`', "--help", "划船", "🙂", "a\\nb"])
def test_a_text_is_never_a_command(system, text, temporary, capfd):
    spoken(Pyttsx3Engine(system, "en"), text)
    assert list(temporary.iterdir()) == []
    assert capfd.readouterr() == ("", "")


def test_an_engine_that_hangs_is_stopped(system, program, temporary):
    engine = dataclasses.replace(program("import time; time.sleep(600)"), timeout_seconds=0.5)
    with pytest.raises(SpeechError, match=r"could not speak 'five': no answer within 0\.5 s"):
        spoken(engine, "five")
    assert list(temporary.iterdir()) == []


@pytest.mark.parametrize(
    ("code", "reason"),
    [
        ("import os; os.abort()", "it ended with code"),
        ("raise RuntimeError('out of tune')", "RuntimeError: out of tune"),
        ("", "its sound cannot be kept or read"),
        ("import json, sys; open(json.load(sys.stdin)['file'], 'w').write('no sound')", "its sound cannot"),
    ],
)  # fmt: skip
def test_an_engine_that_fails_names_the_text(system, program, temporary, capfd, code, reason):
    with pytest.raises(SpeechError, match="could not speak 'five': " + reason) as caught:
        spoken(program(code), "five")
    assert caught.value.exit_code is ExitCode.ERRORS
    assert list(temporary.iterdir()) == []
    assert capfd.readouterr() == ("", "")


def test_no_room_for_temporary_files_names_the_text(system, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "nowhere"))
    with pytest.raises(SpeechError, match="could not speak 'five': its sound cannot be kept"):
        spoken(Pyttsx3Engine(system, "en"), "five")


def without(module: str) -> str:
    """The real program on a machine where `module` cannot be imported."""
    return (
        "import runpy, sys\n"
        f"sys.modules[{module!r}] = None\n"
        f"runpy.run_path({pyttsx3_child.__file__!r}, run_name='__main__')\n"
    )


@pytest.mark.parametrize("module", ["pyttsx3", pytest.param("espeakng_loader", marks=on_linux)])
def test_a_missing_package_is_what_this_machine_lacks(system, program, module):
    with pytest.raises(VoiceMissingError, match=f"voice 'system'.*{module}.*pip install") as caught:
        spoken(program(without(module)), "five")
    assert caught.value.exit_code is ExitCode.MACHINE_LACKS


def test_a_library_that_cannot_be_loaded_is_what_this_machine_lacks(system, program):
    code = (
        "import ctypes, runpy\n"
        "def unloadable(*_, **__): raise OSError('invalid ELF header')\n"
        "ctypes.CDLL = unloadable\n"
        f"runpy.run_path({pyttsx3_child.__file__!r}, run_name='__main__')\n"
    )
    if sys.platform in {"darwin", "win32"}:
        pytest.skip("about the packaged eSpeak NG")
    with pytest.raises(VoiceMissingError, match="invalid ELF header"):
        spoken(program(code), "five")


def test_a_missing_package_is_told_before_anything_is_spoken(system, monkeypatch):
    def absent(package):
        raise pyttsx3_engine.PackageNotFoundError(package)

    monkeypatch.setattr(pyttsx3_engine, "version", absent)
    with pytest.raises(VoiceMissingError, match="needs pyttsx3; `python -m pip install pyttsx3`"):
        Pyttsx3Engine(system, "en").identity(FIVE)


def test_no_python_to_start_is_what_this_machine_lacks(system, monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "executable", str(tmp_path / "no-python"))
    with pytest.raises(VoiceMissingError, match="cannot start here"):
        spoken(Pyttsx3Engine(system, "en"), "five")


@on_linux
def test_the_packaged_library_speaks_and_no_other(system, program):
    code = (
        "import runpy, sys\n"
        f"program = runpy.run_path({pyttsx3_child.__file__!r})\n"
        "program['main']()\n"
        "maps = open('/proc/self/maps').read()\n"
        "libraries = {line.split()[-1] for line in maps.splitlines() if 'espeak' in line}\n"
        "print(';'.join(sorted(name for name in libraries if '.so' in name)))\n"
    )
    import espeakng_loader

    # The last line of what is printed is the voice's id, here the libraries after it.
    folder = espeakng_loader.get_library_path().rpartition("/")[0]
    assert program(code).voice_id().startswith(f"{folder}/libespeak-ng.so")


@on_linux
@pytest.mark.parametrize(
    ("language", "voice_id"),
    [("en", "gmw/en"), ("en-US", "gmw/en-us"), ("de", "gmw/de"), ("es", "roa/es"), ("fr", "roa/fr")],
)
def test_the_voice_speaks_the_language(system, language, voice_id):
    assert Pyttsx3Engine(system, language).voice_id() == voice_id


@on_linux
def test_a_language_that_nobody_here_speaks_is_what_this_machine_lacks(system):
    with pytest.raises(
        VoiceMissingError, match="no voice of this machine speaks the language 'xx'"
    ) as caught:
        spoken(Pyttsx3Engine(system, "xx"), "five")
    assert caught.value.exit_code is ExitCode.MACHINE_LACKS


@on_linux
def test_the_pitch_is_heard(system):
    """Praat, an independent program, hears the voice go up; the length stays."""
    parselmouth = pytest.importorskip("parselmouth")

    def pitch_hz(pitch):
        raw = spoken(Pyttsx3Engine(dataclasses.replace(system, pitch=pitch), "en"), PHRASES[3])
        heard = parselmouth.Sound(raw.samples.astype(float), raw.rate_hz).to_pitch()
        return np.median(heard.selected_array["frequency"][heard.selected_array["frequency"] > 0])

    assert pitch_hz(20) < 0.9 * pitch_hz(50)
    assert pitch_hz(80) > 1.1 * pitch_hz(50)


def machine(default: str, *voices: tuple[str, str]) -> SimpleNamespace:
    listed = [SimpleNamespace(id=name, languages=[language]) for name, language in voices]
    return SimpleNamespace(getProperty={"voice": default, "voices": listed}.__getitem__)


TOY, PLAIN, OTHER = (
    ("org.synthesis.Bells", "en_US"),
    ("org.compact.en-US.Plain", "en_US"),
    ("org.compact.de-DE.Other", "de_DE"),
)


@pytest.mark.parametrize(
    ("engine", "language", "chosen"),
    [
        (machine(TOY[0], TOY, PLAIN), "en", TOY[0]),  # what the person has set wins
        (machine(OTHER[0], TOY, PLAIN, OTHER), "en", PLAIN[0]),
        (machine(OTHER[0], TOY, OTHER), "en-US", TOY[0]),
        (machine(OTHER[0]), "en", OTHER[0]),  # it tells no languages: the default has to do
    ],
)
def test_which_of_a_systems_voices_speaks(engine, language, chosen):
    assert pyttsx3_child._voice_id(engine, language) == chosen


@pytest.mark.parametrize(("voices", "language"), [((TOY, PLAIN, OTHER), "en-GB"), ((OTHER,), "en")])
def test_a_system_without_the_language_is_told(voices, language):
    with pytest.raises(pyttsx3_child.NoVoiceError, match=language):
        pyttsx3_child._voice_id(machine(OTHER[0], *voices), language)


def test_the_identity_changes_with_every_version(system, monkeypatch):
    before = Pyttsx3Engine(system, "en").identity(FIVE)
    monkeypatch.setattr(pyttsx3_engine, "version", lambda package: f"99 of {package}")
    assert Pyttsx3Engine(system, "en").identity(FIVE) != before
