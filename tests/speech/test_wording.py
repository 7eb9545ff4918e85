"""Phrases as text: every key of the timeline, with full and with empty slots."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuetrack.errors import SpeechError
from cuetrack.speech.phrases.english import number_words
from cuetrack.speech.phrases.wording import LANGUAGES, phrase_text, text_key

MOVE = {
    "move": "Half-kneeling press",
    "side": "left",
    "stage": "slow lowering",
    "setup": "Chair behind you, feet under hips.",
    "equipment": "long loop band, mat",
}


@pytest.mark.parametrize(
    ("key", "slots", "text"),
    [
        ("as-written", {"text": " Shoulders  down "}, "Shoulders down"),
        ("as-written", {"text": "Row, {n} [x]."}, "Row, {n} [x]."),
        ("number", {"n": "5"}, "five"),
        ("number", {"n": "20"}, "twenty"),
        ("go", {}, "Go."),
        ("rest", {}, "Rest."),
        ("finished", {}, "Finished."),
        ("halfway", {}, "Halfway."),
        ("time-left", {"seconds": "10"}, "Ten seconds."),
        ("time-left", {"seconds": "1"}, "One second."),
        ("time-left", {"seconds": "60"}, "One minute."),
        ("time-left", {"seconds": "90"}, "One minute thirty."),
        ("time-left", {"seconds": "65"}, "One minute and five seconds."),
        ("time-left", {"seconds": "120"}, "Two minutes."),
        ("time-left", {"seconds": "3720"}, "One hour and two minutes."),
        ("time-left", {"seconds": "0.5"}, "Half a second."),
        ("time-left", {"seconds": "5/2"}, "Two and a half seconds."),
        ("time-left", {"seconds": "144/17"}, "Eight and a half seconds."),
        ("time-left", {"seconds": "59.99"}, "One minute."),
        ("change-sides", {"side": "right"}, "Change sides. Right side."),
        ("change-sides", {"side": ""}, "Change sides."),
        ("stage", {"stage": "paused"}, "Paused."),
        ("stage", {"stage": ""}, ""),
        (
            "announce",
            MOVE,
            "Next: Half-kneeling press, left side. Slow lowering. Chair behind you, feet under hips. "
            "Equipment: long loop band, mat.",
        ),
        ("announce", MOVE | {"first": "yes", "stage": "", "setup": "", "equipment": ""},
         "First: Half-kneeling press, left side."),
        ("announce", {"move": "Row!", "side": "", "setup": "ready?"}, "Next: Row! Ready?"),
        ("announce", {"move": "Row.", "side": "left", "option": "Sit down…"},
         "Next: Row, left side. Sit down…"),
        ("announce", {"move": "", "side": "left", "setup": "Say “go!”"}, "Say “go!”"),
        ("announce", {"move": "{side} [x]", "side": "left"}, "Next: {side} [x], left side."),
    ],
)  # fmt: skip
def test_wording(key, slots, text):
    assert phrase_text(key, slots) == text


def test_the_language_may_carry_a_region():
    assert phrase_text("go", {}, "en-GB") == "Go."


@pytest.mark.parametrize(
    ("key", "slots", "language", "message"),
    [
        ("halfwy", {}, "en", "there is no phrase 'halfwy'; did you mean 'halfway'?"),
        ("go", {}, "xx", "there are no phrases in the language 'xx'; allowed: en"),
        ("number", {"n": "five"}, "en", "n is 'five', which is no number"),
        ("time-left", {"seconds": "1/0"}, "en", "seconds is '1/0', which is no time"),
    ],
)
def test_what_cannot_be_worded_is_refused(key, slots, language, message):
    with pytest.raises(SpeechError) as caught:
        phrase_text(key, slots, language)
    assert str(caught.value) == message


def test_every_number_a_count_may_reach_is_a_word_of_its_own():
    words = [number_words(n) for n in range(1000)]
    assert len(set(words)) == 1000
    assert all(re.fullmatch("[a-z -]+", word) for word in words)
    # Written out by hand.
    assert [words[n] for n in (0, 13, 30, 99, 100, 101, 999)] == [
        "zero",
        "thirteen",
        "thirty",
        "ninety-nine",
        "one hundred",
        "one hundred and one",
        "nine hundred and ninety-nine",
    ]


@given(st.text())
def test_a_text_key_is_clean_and_its_own_key(text):
    key = text_key(text)
    assert text_key(key) == key == " ".join(key.split())
    assert key.encode("utf-8").decode("utf-8") == key
    assert not re.search("[\x00-\x1f\x7f-\x9f]", key)


@given(st.sampled_from(sorted(LANGUAGES["en"].templates)), st.text(), st.text())
def test_any_free_text_in_a_slot_gives_a_phrase(key, first, second):
    free = {"text": first, "move": first, "setup": second, "side": second, "stage": first}
    assert isinstance(phrase_text(key, free | {"n": "3", "seconds": "10"}), str)
