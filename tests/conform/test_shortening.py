"""What does not fit is spoken faster, then in its terse wording; only then is it refused."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from cuetrack.conform.arrangement import Arrangement
from cuetrack.conform.fit import FASTEST_CALL, FASTEST_COUNT, Shortening, arranged
from cuetrack.errors import ConformError
from cuetrack.plan.text import parse_plan
from cuetrack.speech.length import SpokenLength
from cuetrack.speech.phrases.wording import phrase_text
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.cues import Phrase, kind_of

RATE_HZ = 1000
# Lead-in 6.5 s: the announcement lies between 0.1 s (clear of the start) and 3.0 s (half a second before
# the count from three), so it has 2.9 s.
PLAN = """session: Quay
lead-in: 6.5s
parts: [{part: Main, steps: [{move: Band row, setup: Sit tall, work: 30s, calls: {finish: off}}]}]
"""
FULL, TERSE = "First: Band row. Sit tall.", "Band row."


def arrangement(seconds: dict[str, str], plan: str = PLAN) -> Arrangement:
    """The plan with phrases of these lengths; all others last half a second."""

    def length_at(text: str, tempo: Fraction) -> SpokenLength:
        frames = Fraction(seconds.get(text, "0.5")) * RATE_HZ / tempo
        return SpokenLength(int(frames + Fraction(1, 2)), int(frames / 10))

    def text_of(phrase: Phrase) -> str:
        return phrase_text(phrase.key, phrase.slots, turn=phrase.turn)

    def terse(phrase: Phrase) -> str:
        return phrase_text(phrase.key, phrase.slots, turn=phrase.turn, style="terse")

    timeline = compiled(parse_plan(plan))
    texts = {text_of(cue.phrase) for cue in timeline.cues if hasattr(cue, "phrase")}
    lengths = {text: length_at(text, Fraction(1)) for text in texts}
    return arranged(timeline, text_of, lengths, RATE_HZ, shortening=Shortening(terse, length_at))


def announced(seconds: dict[str, str]) -> tuple[str | None, Fraction, list[str]]:
    """What is announced, how fast, and the warnings."""
    done = arrangement(seconds)
    (placed,) = (placed for placed in done.placed if kind_of(placed.cue) == "announcement")
    assert placed.start_frame + placed.frames <= 3_000
    return placed.text, placed.tempo, [warning.message for warning in done.warnings]


def room_seconds() -> Fraction:
    """The longest announcement that fits as it is, to a hundredth."""
    for hundredths in range(600, 0, -1):
        if announced({FULL: str(Fraction(hundredths, 100)), TERSE: "0.5"})[1:] == (1, []):
            return Fraction(hundredths, 100)
    raise AssertionError("nothing fits")


def test_what_fits_is_left_as_it_is() -> None:
    assert announced({FULL: "2"}) == (FULL, 1, [])


def test_a_little_too_long_is_spoken_faster_by_no_more_than_it_needs() -> None:
    room = room_seconds()
    text, tempo, warnings = announced({FULL: str(room * Fraction(108, 100))})
    assert (text, tempo) == (FULL, Fraction(108, 100))
    assert warnings == [f'the announcement "{FULL}" is too long for its place: it is spoken 8 % faster']


def test_more_than_fifteen_per_cent_too_long_is_said_in_its_terse_wording() -> None:
    assert Fraction(115, 100) == FASTEST_CALL
    room = room_seconds()
    text, tempo, warnings = announced({FULL: str(room * Fraction(117, 100)), TERSE: "1"})
    assert (text, tempo) == (TERSE, 1)
    assert warnings == [f'the announcement "{FULL}" is too long for its place: it is shortened to "{TERSE}"']


def test_a_terse_wording_may_be_spoken_faster_too() -> None:
    room = room_seconds()
    text, tempo, _ = announced({FULL: "9", TERSE: str(room * Fraction(11, 10))})
    assert (text, tempo) == (TERSE, Fraction(11, 10))


def test_what_still_does_not_fit_is_refused_on_the_coachs_line() -> None:
    with pytest.raises(ConformError) as caught:
        announced({FULL: "9", TERSE: "8"})
    (found,) = caught.value.diagnostics
    assert found.message.startswith(f'the announcement "{FULL}" takes 9 s, ')
    assert found.place is not None
    assert found.place.line == 3


def test_a_number_longer_than_its_second_is_spoken_faster() -> None:
    plan = PLAN.replace("finish: off", "finish: {warn: off, count: 3, by: voice}")
    done = arrangement({"two": "1.2"}, plan)
    tempos = {placed.text: placed.tempo for placed in done.placed if kind_of(placed.cue) == "count"}
    assert tempos["three"] == tempos["one"] == 1
    assert 1 < tempos["two"] <= FASTEST_COUNT
    words = [placed for placed in done.placed if kind_of(placed.cue) == "count"]
    for first, second in pairwise(words):
        assert first.start_frame + first.frames <= second.start_frame


def test_a_number_far_longer_than_its_second_is_refused() -> None:
    plan = PLAN.replace("finish: off", "finish: {warn: off, count: 3, by: voice}")
    with pytest.raises(ConformError, match='the count "two" takes 2 s'):
        arrangement({"two": "2"}, plan)
