"""The door of the room: texts in, clips out, each spoken once."""

from __future__ import annotations

import dataclasses
import threading
from fractions import Fraction

import numpy as np
import pyloudnorm
import pytest

from cuetrack.errors import SpeechError
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.engines.engine import RawSpeech
from cuetrack.speech.said import MAX_TEXT_CHARACTERS
from cuetrack.speech.speak import speak
from cuetrack.speech.voices import PEAK_CEILING_DBFS

RATE_HZ = 48_000
COUNT = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
SENTENCE = "Shoulders down and keep breathing slowly"


class Tones:
    """An engine that gives a tone for each text, with silence around it, and counts its calls."""

    def __init__(self, version: str = "1") -> None:
        self.version = version
        self.spoken_texts: list[str] = []
        self._lock = threading.Lock()

    def identity(self, utterance):
        return self.version

    def spoken(self, utterance):
        text = utterance.said
        with self._lock:
            self.spoken_texts.append(text)
        if text == "mute":
            return RawSpeech(np.zeros(2205, np.float32), 22_050)
        frames = 2205 * len(text)
        tone = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(frames) / 22_050)
        return RawSpeech(np.pad(tone, 1000).astype(np.float32), 22_050)


@pytest.fixture
def kept(tmp_path):
    return ClipCache(tmp_path)


def test_each_text_is_spoken_once_and_never_again(system, kept):
    engine = Tones()
    first = speak(["row", "press", "row", " row "], system, RATE_HZ, cache=kept, engine=engine)
    assert list(first) == ["row", "press", " row "]
    assert first["row"] is first[" row "]
    again = speak(["press", "row"], system, RATE_HZ, cache=kept, engine=engine)
    assert sorted(engine.spoken_texts) == ["press", "row"]
    for text in again:
        assert np.array_equal(first[text].samples, again[text].samples)
        assert first[text].onset_frames == again[text].onset_frames


def test_another_version_or_loudness_is_spoken_anew(system, kept):
    engine = Tones()
    speak(["row"], system, RATE_HZ, cache=kept, engine=engine)
    speak(["row"], dataclasses.replace(system, loudness_lufs=-20.0), RATE_HZ, cache=kept, engine=engine)
    engine.version = "2"
    speak(["row"], system, RATE_HZ, cache=kept, engine=engine)
    assert engine.spoken_texts == ["row"] * 3


def test_the_rate_is_changed_after_the_clip_is_kept(system, kept):
    engine = Tones()
    lengths = {
        rate: len(speak(["row"], system, rate, cache=kept, engine=engine)["row"].samples)
        for rate in (22_050, 44_100, 48_000)
    }
    assert engine.spoken_texts == ["row"]
    assert lengths[44_100] == 2 * lengths[22_050]
    assert lengths[48_000] == pytest.approx(lengths[22_050] * 48_000 / 22_050, abs=1)


def test_silence_around_the_words_is_cut(system, kept):
    clip = speak(["row"], system, 22_050, cache=kept, engine=Tones())["row"]
    assert len(clip.samples) == pytest.approx(3 * 2205, abs=25)


def test_a_damaged_clip_is_spoken_again(system, kept):
    engine = Tones()
    first = speak(["row"], system, RATE_HZ, cache=kept, engine=engine)["row"]
    (file,) = kept.folder.iterdir()
    file.write_bytes(file.read_bytes()[:-3])
    again = speak(["row"], system, RATE_HZ, cache=kept, engine=engine)["row"]
    assert engine.spoken_texts == ["row", "row"]
    assert np.array_equal(first.samples, again.samples)


def test_a_cache_that_cannot_be_written_costs_only_time(system, tmp_path):
    (tmp_path / "taken").write_text("a file, not a folder")
    cache = ClipCache(tmp_path / "taken")
    assert "row" in speak(["row"], system, RATE_HZ, cache=cache, engine=Tones())
    assert cache.warning is not None


def test_progress_is_told_after_each_text(system, kept):
    told = []
    speak(["a", "b", "a", "c"], system, RATE_HZ, cache=kept, engine=Tones(),
          progress=lambda done, of: told.append((done, of)))  # fmt: skip
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_nothing_to_say_asks_nothing(system, kept):
    assert speak([], system, RATE_HZ, cache=kept, engine=None) == {}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("mute", "'mute' has no sound when spoken"),
        ("", "'' has nothing to say"),
        ("...", r"'\.\.\.' has nothing to say"),
        ("!?! – «»", "has nothing to say"),
        ("🏋️💪", "'🏋️💪' has nothing to say"),
        (" \x00\t", r"' \\x00\\t' has nothing to say"),
        ("a" * 10_000, "has 10,000 characters, allowed are 2,000; shorten it"),
        ("a" * (MAX_TEXT_CHARACTERS + 1), r"'a{60}…' has 2,001 characters, allowed are 2,000"),
    ],
)
def test_a_text_without_sound_is_named(system, kept, text, message):
    with pytest.raises(SpeechError, match=message):
        speak(["row", text, "press"], system, RATE_HZ, cache=kept, engine=Tones())


def test_the_first_of_several_faults_is_told(system, kept):
    class Refusing(Tones):
        def spoken(self, utterance):
            raise SpeechError(utterance.said)

    with pytest.raises(SpeechError, match=r"^b$"):
        speak("bca", system, RATE_HZ, cache=kept, engine=Refusing())


def test_the_count_fits_a_count_of_seconds(system, cache):
    clips = speak(COUNT, system, RATE_HZ, cache=cache)
    for text, clip in clips.items():
        assert 0.1 * RATE_HZ < len(clip.samples) < RATE_HZ, text
        assert 0 < clip.onset_frames < len(clip.samples), text
        assert clip.samples.dtype == np.float32


def test_a_clip_begins_and_ends_with_sound(system, cache):
    for clip in speak(COUNT, system, 22_050, cache=cache).values():
        assert abs(clip.samples[0]) > 0
        assert abs(clip.samples[-1]) > 0


def test_speech_stands_at_its_loudness_below_the_ceiling(system, cache):
    """-18 LUFS for speech: AES TD1008. Measured by pyloudnorm, on both front channels."""
    clip = speak([SENTENCE], system, RATE_HZ, cache=cache)[SENTENCE]
    both = np.column_stack([clip.samples, clip.samples]).astype(np.float64)
    measured = pyloudnorm.Meter(RATE_HZ).integrated_loudness(both)
    # pyloudnorm gates pauses away, which the levelling of a clip does not: 1 LU.
    assert measured == pytest.approx(-18.0, abs=1.0)
    for count in speak(COUNT, system, 22_050, cache=cache).values():
        assert np.abs(count.samples).max() <= 10 ** (PEAK_CEILING_DBFS / 20) + 1e-6


def test_a_run_with_kept_clips_gives_the_same_bytes(system, tmp_path):
    """Order, company and what was kept before never change a sample."""
    texts = ["Go.", "Band row.", "five"]
    empty, partly = ClipCache(tmp_path / "a"), ClipCache(tmp_path / "b")
    speak(["five"], system, RATE_HZ, cache=partly)
    one = speak(texts, system, RATE_HZ, cache=empty)
    other = speak(reversed(texts), system, RATE_HZ, cache=partly)
    for text in texts:
        assert np.array_equal(one[text].samples, other[text].samples)
        assert one[text].onset_frames == other[text].onset_frames


@pytest.mark.parametrize("text", ["🏋️", "a\x00b", "x\ud800y", "<b>bold</b>", "[[h@lo]]", "\u202eRow", "1:30"])
def test_any_text_is_spoken_or_refused(system, cache, text):
    try:
        told = None
        clip = speak([text], system, RATE_HZ, cache=cache)[text]
    except SpeechError as error:
        told = str(error)
    assert len(clip.samples) > 0 if told is None else repr(text) in told


def test_what_the_engine_is_given_is_the_spoken_form(system, kept):
    engine = Tones()
    clips = speak(["RDL"], system, RATE_HZ, cache=kept, engine=engine, lexicon={"RDL": "romanian deadlift"})
    assert engine.spoken_texts == ["romanian deadlift"]
    assert list(clips) == ["RDL"]


@pytest.mark.parametrize("tempo", [Fraction(23, 20), Fraction(3, 2)])
def test_a_text_is_spoken_faster_by_exactly_the_factor(system, kept, tempo):
    engine = Tones()
    slow = speak(["row", "press"], system, 22_050, cache=kept, engine=engine)
    fast = speak(["row", "press"], system, 22_050, cache=kept, engine=engine, faster={"row": tempo})
    assert sorted(engine.spoken_texts) == ["press", "row"]
    assert abs(len(fast["row"].samples) - len(slow["row"].samples) / tempo) <= 1
    assert np.array_equal(fast["press"].samples, slow["press"].samples)
    again = speak(["row"], system, 22_050, cache=kept, engine=engine, faster={"row": tempo})
    assert np.array_equal(again["row"].samples, fast["row"].samples)


def test_changing_one_word_speaks_one_phrase(system, kept):
    engine = Tones()
    speak(["row", "press", "rest"], system, RATE_HZ, cache=kept, engine=engine)
    speak(["row", "press now", "rest"], system, RATE_HZ, cache=kept, engine=engine)
    assert sorted(engine.spoken_texts) == ["press", "press now", "rest", "row"]


def test_a_voice_that_does_not_speak_the_language_is_refused(system, kept):
    english = dataclasses.replace(system, name="quay", languages=("en-GB",))
    assert "eins" in speak(["eins"], english, RATE_HZ, cache=kept, engine=Tones(), language="en-US")
    with pytest.raises(SpeechError, match="voice 'quay' speaks en-GB, not de; take another voice"):
        speak(["eins"], english, RATE_HZ, cache=kept, engine=Tones(), language="de")


@pytest.mark.parametrize(
    ("language", "text"), [("de", "Seite wechseln."), ("es", "Descanso."), ("fr", "Repos.")]
)
def test_the_systems_voice_speaks_every_language_of_the_phrases(system, cache, language, text):
    own = speak([text], system, RATE_HZ, cache=cache, language=language)[text]
    english = speak([text], system, RATE_HZ, cache=cache, language="en")[text]
    assert len(own.samples) > 0.3 * RATE_HZ
    assert not np.array_equal(own.samples, english.samples)
