"""What does not fit is spoken faster, then in its terse wording; only then is it refused."""

from __future__ import annotations

from collections.abc import Callable
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
# Three times the same move, each with a warning three seconds before its end, where a count begins.
ROUNDS = """session: Quay
parts:
  - part: Main
    rounds: 3
    rest: 20s
    steps: [{move: Band row, work: 30s, calls: {finish: {warn: 3s, count: 3, by: voice}}}]
"""
FULL, TERSE = "First: Band row. Sit tall.", "Band row."


def arrangement(
    seconds: dict[str, str], plan: str = PLAN, onset_of: Callable[[str, Fraction], Fraction] | None = None
) -> Arrangement:
    """The plan with phrases of these lengths; all others last half a second.

    `onset_of` tells, by text and tempo, which part of a clip lies before its onset; a tenth if None.
    """

    def length_at(text: str, tempo: Fraction) -> SpokenLength:
        frames = Fraction(seconds.get(text, "0.5")) * RATE_HZ / tempo
        part = Fraction(1, 10) if onset_of is None else onset_of(text, tempo)
        return SpokenLength(int(frames + Fraction(1, 2)), int(frames * part))

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
    """The terse wording at its fastest lasts 8 / 1.15 = 6.957; 2.85 fit into 6.5 s, so 4.107 are missing."""
    long = {FULL: "9", TERSE: "8"}
    with pytest.raises(ConformError) as caught:
        announced(long)
    (found,) = caught.value.diagnostics
    assert found.message == (
        f'the announcement "{FULL}" takes 9 s, and even shortened and spoken 15 % faster it is 4.2 s too long'
    )
    assert found.hint == "a lead-in of 11 s or more before 'Band row' fits it; or shorten the text"
    assert found.place is not None
    assert found.place.line == 3
    assert arrangement(long, PLAN.replace("6.5s", "11s"))
    with pytest.raises(ConformError):
        arrangement(long, PLAN.replace("6.5s", "10s"))


def test_where_nothing_is_free_the_least_that_is_needed_is_told() -> None:
    """2 / 1.15 = 1.74, and 3 + 0.5 + 0.15 - 2 = 1.65 before anything has a place."""
    plan = PLAN.replace("6.5s", "2s").replace("{finish: off}", "{start: {count: 2}, finish: off}")
    with pytest.raises(ConformError) as caught:
        arrangement({FULL: "9", TERSE: "2"}, plan)
    (found,) = caught.value.diagnostics
    assert found.message.endswith(
        "takes 9 s, and even shortened and spoken 15 % faster 2.4 s more are needed"
    )
    assert found.hint == "a lead-in of 5 s or more before 'Band row' fits it; or shorten the text"


def test_one_warning_written_is_one_error_however_it_is_worded() -> None:
    """Its wordings take turns from move to move."""
    wordings = ("Three seconds.", "Three seconds left.", "Three seconds to go.")
    with pytest.raises(ConformError) as caught:
        arrangement(dict(zip(wordings, ("2", "2.5", "2.2"), strict=True)), ROUNDS)
    (found,) = caught.value.diagnostics
    assert found.message.startswith('the warning "Three seconds." takes 2 s, and even spoken 15 % faster')


def test_one_warning_that_gives_way_is_told_once_however_it_is_worded() -> None:
    plan = ROUNDS.replace("warn: 3s, ", "").replace("work: 30s", 'work: 30s, cues: [{at: 19s, say: "Row."}]')
    wordings = ("Ten seconds.", "Ten seconds left.", "Ten seconds to go.")
    done = arrangement({"Row.": "6", **dict.fromkeys(wordings, "2")}, plan)
    assert not {placed.text for placed in done.placed} & set(wordings)
    assert [warning.message for warning in done.warnings] == [
        'no room for the warning "Ten seconds.", which is built in; it is left out'
    ]


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
    message = 'the count "two" takes 2 s, and even spoken 50 % faster it is 0.3 s too long'
    with pytest.raises(ConformError, match=message):
        arrangement({"two": "2"}, plan)


def test_the_onset_of_a_number_comes_sooner_too_the_faster_it_is_spoken() -> None:
    """1.5 s with an onset after 0.15 s: 1.35 have to fit into 0.95, the second without the next onset."""
    plan = PLAN.replace("finish: off", "finish: {warn: off, count: 3, by: voice}")
    (two,) = (placed for placed in arrangement({"two": "1.5"}, plan).placed if placed.text == "two")
    assert two.tempo == Fraction(143, 100)
    assert Fraction("1.35") / Fraction("1.43") <= Fraction("0.95") < Fraction("1.35") / Fraction("1.42")


def test_a_number_whose_onset_jumps_about_never_lies_over_the_one_before() -> None:
    """Its onset is heard late up to 1.2 times as fast: it would begin while "three" is spoken."""
    plan = PLAN.replace("finish: off", "finish: {warn: off, count: 3, by: voice}")

    def onset_of(text: str, tempo: Fraction) -> Fraction:
        return Fraction(7, 10) if text == "two" and 1 < tempo <= Fraction(6, 5) else Fraction(1, 10)

    done = arrangement({"three": "0.9", "two": "1.1"}, plan, onset_of)
    words = [placed for placed in done.placed if kind_of(placed.cue) == "count"]
    assert [placed.tempo for placed in words if placed.text == "two"] == [Fraction(121, 100)]
    for first, second in pairwise(words):
        assert first.start_frame + first.frames <= second.start_frame
