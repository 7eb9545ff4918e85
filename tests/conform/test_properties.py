"""Generated plans, spoken by a voice whose lengths are made up: what always holds of an arrangement."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume
from hypothesis import strategies as st

from cuetrack.errors import ConformError
from cuetrack.sound.tone_table import TONES
from cuetrack.timebase import seconds_text
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.cues import CountWord, SpokenCue, Wordless
from tests.conform.brute_force import ORDER, Try, rank, tried
from tests.helpers import by_hand
from tests.helpers.by_hand import to_frame
from tests.helpers.fake_voice import FakeVoice, spoken
from tests.helpers.plans import Plan, given_examples, plans, session_of

RATE_HZ = 200  # every frame is tried here, so there are few of them
PACES_MS = st.sampled_from((25, 55, 90))
given = given_examples(60)


@given(plans(), st.sampled_from((48_000, 44_100, 22_050)))
def test_each_tone_begins_on_the_frame_of_its_exact_mark(plan: Plan, rate_hz: int) -> None:
    arrangement = spoken(session_of(plan), rate_hz, estimated=True)
    expected = {(sound, to_frame(mark, rate_hz)) for sound, mark in by_hand.tones(plan)}
    placed = {(sound.tone, sound.start_frame) for sound in arrangement.placed if sound.tone}
    assert placed == expected
    for sound in arrangement.placed:
        if sound.tone:
            assert sound.mark_frame == sound.start_frame
            assert sound.frames == to_frame(TONES[sound.tone].length_seconds, rate_hz)


@given(plans(), PACES_MS, st.sampled_from((48_000, 44_100, 22_050)))
def test_arrangement_is_as_long_as_the_plan_and_in_order(plan: Plan, pace_ms: int, rate_hz: int) -> None:
    arrangement = spoken(session_of(plan), rate_hz, FakeVoice(rate_hz, pace_ms=pace_ms), estimated=True)
    assert arrangement.frames == to_frame(by_hand.stretches(plan)[-1].end, rate_hz)
    starts = [sound.start_frame for sound in arrangement.placed]
    assert starts == sorted(starts)
    assert all(sound.start_frame >= 0 for sound in arrangement.placed)
    assert all(sound.start_frame + sound.frames <= arrangement.frames for sound in arrangement.placed)


@given(plans(), PACES_MS)
def test_no_two_phrases_overlap_and_those_that_move_keep_a_breath_apart(plan: Plan, pace_ms: int) -> None:
    arrangement = spoken(session_of(plan), 48_000, FakeVoice(48_000, pace_ms=pace_ms), estimated=True)
    phrases = [sound for sound in arrangement.placed if sound.text]
    for before, after in pairwise(phrases):
        apart = after.start_frame - (before.start_frame + before.frames)
        both_counted = isinstance(before.cue, CountWord) and isinstance(after.cue, CountWord)
        assert apart >= (0 if both_counted else to_frame(Fraction(3, 20), 48_000))


@given(plans(), PACES_MS)
def test_every_phrase_lies_inside_its_window(plan: Plan, pace_ms: int) -> None:
    arrangement = spoken(session_of(plan), 48_000, FakeVoice(48_000, pace_ms=pace_ms), estimated=True)
    for sound in arrangement.placed:
        if isinstance(sound.cue, Wordless):
            continue
        window = sound.cue.window
        assert to_frame(window.earliest.seconds, 48_000) <= sound.start_frame
        assert sound.start_frame + sound.frames <= to_frame(window.latest_end.seconds, 48_000)
        if window.latest_start is not None:
            assert sound.start_frame <= to_frame(window.latest_start.seconds, 48_000)


@given(plans(), st.sampled_from((48_000, 44_100)))
def test_counted_words_are_heard_on_their_mark(plan: Plan, rate_hz: int) -> None:
    voice = FakeVoice(rate_hz)
    for sound in spoken(session_of(plan), rate_hz, voice, estimated=True).placed:
        if isinstance(sound.cue, CountWord):
            heard = sound.start_frame + voice[str(sound.text)].onset_frames
            assert heard == to_frame(sound.cue.mark.seconds, rate_hz) == sound.mark_frame


@given(plans(), PACES_MS)
def test_phrases_lie_where_trying_every_frame_finds_them(plan: Plan, pace_ms: int) -> None:
    """And are refused exactly where that finds no place."""
    timeline, voice = compiled(session_of(plan)), FakeVoice(RATE_HZ, pace_ms=pace_ms)
    tries = tried(timeline, voice, RATE_HZ)
    expected = {id(found.cue): found.start for found in tries if found.start is not None}
    arrangement = spoken(timeline, RATE_HZ, voice, estimated=True)
    placed = {id(sound.cue): sound.start_frame for sound in arrangement.placed if sound.text}
    assert placed == expected
    refused = [found for found in tries if found.start is None and not gives_way(found)]
    if not refused:
        assert spoken(timeline, RATE_HZ, voice).placed == arrangement.placed
        return
    with pytest.raises(ConformError) as error:
        spoken(timeline, RATE_HZ, voice)
    said = {diagnostic.message for diagnostic in error.value.diagnostics}
    assert all(any(f'"{quoted(found)}" takes' in message for message in said) for found in refused)


@given(plans(), PACES_MS)
def test_a_refusal_says_how_much_too_long_a_phrase_is(plan: Plan, pace_ms: int) -> None:
    timeline, voice = compiled(session_of(plan)), FakeVoice(RATE_HZ, pace_ms=pace_ms)
    tries = tried(timeline, voice, RATE_HZ)
    refused = [t for t in tries if t.start is None and isinstance(t.cue, SpokenCue) and not gives_way(t)]
    hopeless = {found.text for found in refused if found.most_frames == 0}
    try:
        spoken(timeline, RATE_HZ, voice)
        said = set()
    except ConformError as error:
        said = {diagnostic.message.split('"', 1)[1] for diagnostic in error.diagnostics}
    for text in {found.text for found in refused} - hopeless:
        about = [found for found in refused if found.text == text]
        frames, over = about[0].frames, max(found.frames - found.most_frames for found in about)
        lacks = f"{in_seconds(over)} too long" if over < frames else f"and {in_seconds(over)} more are needed"
        takes = f"takes {in_seconds(frames)}, {lacks}"
        assert f'{quoted(about[0])}" {takes}' in said


def gives_way(found: Try) -> bool:
    return isinstance(found.cue, SpokenCue) and found.cue.gives_way


def quoted(found: Try) -> str:
    return found.text if len(found.text) <= 60 else found.text[:59] + "…"


def in_seconds(frames: int) -> str:
    return seconds_text(Fraction(frames, RATE_HZ))


RANKS = sorted({(gives_way, order) for gives_way in (False, True) for order in ORDER.values()})


@given(plans(), PACES_MS, st.sampled_from(RANKS))
def test_what_is_less_important_displaces_nothing(plan: Plan, pace_ms: int, least: tuple[bool, int]) -> None:
    timeline, voice = compiled(session_of(plan)), FakeVoice(RATE_HZ, pace_ms=pace_ms)
    kept = tuple(cue for cue in timeline.cues if not isinstance(cue, SpokenCue) or rank(cue) <= least)
    whole = spoken(timeline, RATE_HZ, voice, estimated=True).placed
    alone = spoken(replace(timeline, cues=kept), RATE_HZ, voice, estimated=True).placed
    ids = {id(cue) for cue in kept}
    assert [sound for sound in whole if id(sound.cue) in ids] == list(alone)


@given(plans(most_steps=4), PACES_MS, st.data(), st.integers(1, 30))
def test_a_longer_rest_never_moves_an_earlier_cue(
    plan: Plan, pace_ms: int, data: st.DataObject, more: int
) -> None:
    """Earlier is what is about an instant before the work ended which that rest follows."""
    for part in plan["parts"]:
        part["rounds"] = 1
    owners = [step for part in plan["parts"] for step in part["steps"] if step.get("rest", "0 s") != "0 s"]
    owner = data.draw(st.sampled_from(owners))
    voice = FakeVoice(RATE_HZ, pace_ms=pace_ms)
    before = spoken(session_of(plan), RATE_HZ, voice, estimated=True)
    found = by_hand.stretches(plan)
    rest = next((index for index, s in enumerate(found) if s.step is owner and s.kind == "rest"), None)
    assume(rest is not None)
    assert rest is not None
    while rest > 0 and found[rest - 1].kind != "work":
        rest -= 1
    limit = to_frame(found[rest].start, RATE_HZ)
    owner["rest"] = f"{by_hand.seconds(owner['rest']) + more} s"
    after = spoken(session_of(plan), RATE_HZ, voice, estimated=True)

    def early(placed: tuple[object, ...]) -> list[tuple[str, int, int]]:
        sounds = ((sound.sound, sound.start_frame, sound.mark_frame) for sound in placed)  # type: ignore[attr-defined]
        return [sound for sound in sounds if sound[2] < limit]

    assert early(before.placed) == early(after.placed)
