"""Phrases as text: every key of the timeline, with full and with empty slots."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuetrack.errors import SpeechError
from cuetrack.speech.phrases.language import SLOTS_BY_KEY, Wordings
from cuetrack.speech.phrases.wording import phrase_text, text_key

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
def test_the_first_full_english_wording(key, slots, text):
    assert phrase_text(key, slots) == text


def test_the_language_may_carry_a_region():
    assert phrase_text("go", {}, "en-GB") == "Go."


@pytest.mark.parametrize(
    ("key", "slots", "language", "message"),
    [
        ("halfwy", {}, "en", "there is no phrase 'halfwy'; did you mean 'halfway'?"),
        ("go", {}, "xx", "there are no phrases in the language 'xx'; allowed: en, es, de, fr"),
        ("number", {"n": "five"}, "en", "n is 'five', which is no number"),
        ("time-left", {"seconds": "1/0"}, "en", "seconds is '1/0', which is no time"),
    ],
)
def test_what_cannot_be_worded_is_refused(key, slots, language, message):
    with pytest.raises(SpeechError) as caught:
        phrase_text(key, slots, language)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("turn", "text"),
    [
        (0, "Next: Band row, left side. Paused."),
        (1, "Coming up: Band row, left side. Paused."),
        (5, "Next: Band row, left side. Paused."),
        (-1, "And now: Band row, left side. Paused."),
    ],
)
def test_wordings_take_turns(turn, text):
    slots = {"move": "Band row", "side": "left", "stage": "paused"}
    assert phrase_text("announce", slots, turn=turn) == text


@pytest.mark.parametrize(
    ("key", "slots", "language", "text"),
    [
        ("announce", MOVE, "en", "Half-kneeling press, left."),
        ("announce", MOVE | {"side": ""}, "en", "Half-kneeling press."),
        ("announce", MOVE | {"move": ""}, "en",
         "Slow lowering. Chair behind you, feet under hips. Equipment: long loop band, mat."),
        ("announce", MOVE | {"first": "yes"}, "es", "Half-kneeling press, izquierda."),
        ("change-sides", {"side": "right"}, "en", "Sides, right."),
        ("change-sides", {}, "en", "Sides."),
        ("change-sides", {"side": "right"}, "fr", "On change, à droite."),
        ("last-round", {"move": "Band row", "side": "left"}, "en", "Last round, Band row, left."),
        ("last-round", {}, "de", "Letzte Runde."),
        ("stage", {"stage": ""}, "en", ""),
    ],
)  # fmt: skip
def test_a_terse_wording_keeps_the_least_that_is_understood(key, slots, language, text):
    assert phrase_text(key, slots, language, style="terse") == text


@given(st.text())
def test_a_text_key_is_clean_and_its_own_key(text):
    key = text_key(text)
    assert text_key(key) == key == " ".join(key.split())
    assert key.encode("utf-8").decode("utf-8") == key
    assert not re.search("[\x00-\x1f\x7f-\x9f]", key)


@given(
    st.sampled_from(sorted(SLOTS_BY_KEY)),
    st.sampled_from(["en", "es", "de", "fr"]),
    st.sampled_from(["full", "terse"]),
    st.integers(),
    st.text(),
    st.text(),
)
def test_any_free_text_in_a_slot_gives_a_phrase(key, language, style, turn, first, second):
    free = {"text": first, "move": first, "setup": second, "side": second, "stage": first}
    text = phrase_text(
        key, free | {"n": "3", "seconds": "10", "day": "3", "days": "14"}, language, style=style, turn=turn
    )
    assert text == text_key(text)


def test_one_sentence_may_tell_the_side_in_both_ways():
    said = ("turn to the {side:side}, {side:direction} leg first",)
    own = {"change-sides": Wordings(full=(said,), terse=())}
    made = phrase_text("change-sides", {"side": "right"}, own=own)
    assert made == "Turn to the right side, right leg first."
