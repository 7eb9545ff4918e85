"""Which calls hold where: the nearest word wins, key by key, and each setting knows its line."""

from __future__ import annotations

from fractions import Fraction

from cuetrack.plan.text import parse_plan
from cuetrack.timeline.calls import CallSettings, settings_for
from cuetrack.timeline.collector import CueCollector
from cuetrack.timeline.phases import laid_out

DEFAULTS = settings_for([None, None])


def settings(*calls: str) -> CallSettings:
    """The calls that hold at a move, given the lines of the session, its part and the move."""
    session, part, move = (f"calls: {text}" if text else "notes: none" for text in calls)
    plan = parse_plan(
        f"session: Quay\n{session}\nparts:\n  - part: A\n    {part}\n    steps:\n"
        f"      - move: Row\n        work: 30s\n        {move}\n"
    )
    phases = laid_out(plan)
    return CueCollector(plan, phases).settings(phases[1])


def test_built_in_calls() -> None:
    assert DEFAULTS.announce.value == ("name", "setup", "equipment")
    assert DEFAULTS.start.points.value == DEFAULTS.finish.points.value == (3, 2, 1)
    assert DEFAULTS.start.by.value == DEFAULTS.finish.by.value == "tones"
    assert DEFAULTS.warn.value is not None
    assert DEFAULTS.warn.value.seconds == 10
    assert DEFAULTS.stage_ahead.value is not None
    assert DEFAULTS.stage_ahead.value.seconds == 2
    assert DEFAULTS.stage_tone.value == "bright"
    assert (DEFAULTS.side.value, DEFAULTS.halfway.value) == (True, False)
    assert DEFAULTS.start.points.is_default
    assert DEFAULTS.start.points.place is None


def test_nearest_word_wins_key_by_key() -> None:
    found = settings(
        "{start: {count: 5, by: voice, sound: pips}}", "{start: {by: both}}", "{start: {count: 2}}"
    )
    assert found.start.points.value == (2, 1)
    assert found.start.by.value == "both"
    assert found.start.sound == "pips"
    assert not found.start.points.is_default


def test_each_setting_knows_its_line() -> None:
    found = settings("{start: {count: 5}}", "{start: {by: both}}", "{halfway: on}")
    places = [found.start.points.place, found.start.by.place, found.halfway.place]
    assert [place.line if place else None for place in places] == [2, 5, 9]


def test_off_ends_a_whole_call_and_says_where() -> None:
    found = settings("{finish: {warn: 5s, count: 5}}", "{finish: off}", "")
    assert found.warn.value is None
    assert found.finish.points.value == ()
    assert (found.finish.by_tones, found.finish.by_voice) == (False, False)
    assert found.finish.longest.seconds == 0
    assert found.finish.by.place is not None
    assert found.finish.by.place.line == 5


def test_a_key_nearer_by_ends_the_off_and_the_rest_is_as_before() -> None:
    found = settings("{finish: {warn: 5s, count: 5}}", "{finish: off}", "{finish: {by: voice}}")
    assert found.warn.value is not None
    assert found.warn.value.seconds == 5
    assert found.finish.points.value == (5, 4, 3, 2, 1)
    assert found.finish.by.value == "voice"


def test_off_for_one_key_holds_until_that_key_is_named() -> None:
    off = settings("{finish: {warn: off}}", "{finish: {count: 2}}", "")
    assert off.warn.value is None
    assert not off.warn.is_default
    assert settings("{finish: {warn: off}}", "{finish: {warn: 7s}}", "").warn.value is not None


def test_off_for_stages_ends_the_call_and_its_tone() -> None:
    found = settings("{stage: off, side: off, announce: off}", "", "")
    assert (found.stage_ahead.value, found.stage_tone.value) == (None, None)
    assert found.side.value is False
    assert found.announce.value == ()
    assert settings("{stage: {tone: off}}", "", "").stage_ahead.value is not None


def test_length_of_a_count_where_there_is_time_for_all_of_it() -> None:
    assert settings("{start: {count: [7.5, 1]}}", "", "").start.longest.seconds == Fraction(15, 2)
    assert settings("{start: {count: 0}}", "", "").start.longest.seconds == 0
    assert settings("{start: {count: 4, by: none}}", "", "").start.longest.seconds == 0
