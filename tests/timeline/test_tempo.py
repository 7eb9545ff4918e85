"""Beats, lifting tempos and equal intervals: exact positions from the start of the work, worked out by hand.

Lengths of a repetition and what the four figures mean are the trade's (common practice, no source).
"""

from __future__ import annotations

from fractions import Fraction
from textwrap import dedent

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import ClickCue, TempoWord, ToneCue, kind_of


def timeline(move: str, *, start: str = "{count: 0}", bed: str = "off") -> Timeline:
    """One move from second 5 on, with only its own tempo to be heard through the work."""
    text = f"""
        session: Boathouse strength
        lead-in: 5s
        bed: {bed}
        calls: {{announce: off, start: {start}, finish: off}}
        parts:
          - part: Strength
            steps: [{{move: Squat, {move}}}]
    """
    return compiled(parse_plan(dedent(text), "quay.yaml"))


def clicks(found: Timeline) -> list[tuple[str, Fraction]]:
    """What clicks, each with its seconds from the start of the work."""
    return [(cue.sound, cue.mark.seconds - 5) for cue in found.cues if isinstance(cue, ClickCue)]


def words(found: Timeline) -> list[tuple[str, Fraction]]:
    """Key or number of each word of the tempo, with its seconds from the start of the work."""
    return [
        (cue.phrase.slots.get("n", cue.phrase.key.removeprefix("tempo-")), cue.mark.seconds - 5)
        for cue in found.cues
        if isinstance(cue, TempoWord)
    ]


def refusal(move: str) -> str:
    with pytest.raises(PlanError) as caught:
        timeline(move)
    return str(caught.value)


def test_a_beat_clicks_alike_in_short_and_in_full() -> None:
    short, full = timeline("tempo: 70 bpm, work: 10s"), timeline("tempo: {beat: 70 bpm}, work: 10s")
    assert clicks(short) == [("click", number * Fraction(6, 7)) for number in range(12)]
    assert clicks(full) == clicks(short)
    assert words(full) == []


def test_every_fourth_beat_is_accented_the_first_included() -> None:
    found = clicks(timeline("tempo: {beat: 60 bpm, accent: 4}, work: 10s"))
    accented = [seconds for name, seconds in found if name == "click-accent"]
    assert accented == [0, 4, 8]
    assert [seconds for _, seconds in found] == list(range(10))


def test_repetitions_are_counted_on_their_first_beat_and_begin_again() -> None:
    found = timeline("tempo: {beat: 120 bpm, accent: 4, count: 3}, work: 40 counts")
    assert words(found) == [(str(number % 3 + 1), 2 * number) for number in range(10)]
    without_end = timeline("tempo: {beat: 120 bpm, accent: 4, count: on}, work: 40 counts")
    assert words(without_end) == [(str(number + 1), 2 * number) for number in range(10)]
    every_beat = timeline("tempo: {beat: 50 bpm, count: on}, work: 6s")
    assert words(every_beat) == [(str(number + 1), number * Fraction(6, 5)) for number in range(5)]
    assert words(timeline("tempo: {beat: 50 bpm, count: off}, work: 6s")) == []


def test_lowering_pause_lifting_pause() -> None:
    found = timeline("tempo: 3-1-2-1, work: 21s")
    cycle = [("down", 0), ("hold", 3), ("up", 4), ("hold", 6)]
    assert words(found) == [(word, 7 * turn + at) for turn in range(3) for word, at in cycle]
    assert clicks(found) == []
    assert {kind_of(cue) for cue in found.cues if isinstance(cue, TempoWord)} == {"count"}


def test_no_time_no_word_and_x_is_a_second_called_fast() -> None:
    found = timeline("tempo: 2.5-0-x-0, work: 7s")
    half = Fraction(1, 2)
    assert words(found) == [("down", 0), ("fast", 2 + half), ("down", 3 + half), ("fast", 6)]


def test_a_move_may_begin_with_the_lifting() -> None:
    found = timeline("tempo: {lift: 3-1-2-0, first: lifting}, work: 6s")
    assert words(found) == [("up", 0), ("down", 2), ("hold", 5)]


def test_tones_instead_of_words_or_with_them() -> None:
    tones = [("tempo-down", 0), ("tempo-hold", 3), ("tempo-up", 4)]
    found = timeline("tempo: {lift: 3-1-2-0, by: tones}, work: 6s")
    assert (clicks(found), words(found)) == (tones, [])
    both = timeline("tempo: {lift: 3-1-2-0, by: both}, work: 6s")
    assert clicks(both) == tones
    assert words(both) == [("down", 0), ("hold", 3), ("up", 4)]
    assert timeline("tempo: {lift: 3-1-2-0, by: none}, work: 6s").cues == timeline("work: 6s").cues


def test_a_counted_lifting_tempo_says_the_number_for_its_first_word() -> None:
    found = timeline("tempo: {lift: 3-1-2-0, count: 2}, work: 18s")
    firsts = [word for word, seconds in words(found) if seconds % 6 == 0]
    assert firsts == ["1", "2", "1"]
    assert [word for word, seconds in words(found) if seconds % 6] == ["hold", "up"] * 3


def test_go_takes_the_place_of_the_word_on_the_start() -> None:
    found = words(timeline("tempo: 3-1-2-0, work: 12s", start="{count: 1, by: voice}"))
    assert found == [("hold", 3), ("up", 4), ("down", 6), ("hold", 9), ("up", 10)]


def test_cycles_do_not_drift() -> None:
    """10 minutes of 0.7 + 0.333 + 0.334 s: each word stands on an exact multiple."""
    found = words(timeline("tempo: 0.7-0.333-0.334-0, work: 10 min"))
    cycle = Fraction("1.367")
    assert len(found) == 3 * (600 // cycle)
    assert found[-1] == ("up", (600 // cycle - 1) * cycle + Fraction("1.033"))


def test_an_unfinished_repetition_is_not_begun_and_is_told_once() -> None:
    found = timeline("tempo: 3-1-2-0, work: 40s, sides: both")
    assert len(words(found)) == 2 * 6 * 3
    (note,) = found.notes
    assert note.severity == "warning"
    assert note.message == (
        "6 repetitions of 3-1-2-0 fit the 40 s of 'Squat'; "
        "the last 4 s are too short for another, which is not called"
    )
    assert note.hint == "36 s or 42 s of work end with a whole one, as `work: 6 reps` does"
    (note,) = timeline("tempo: 3-1-2-0, work: 5s").notes
    assert note.message.startswith("0 repetitions of 3-1-2-0 fit the 5 s")
    assert note.hint == "6 s of work end with a whole one, as `work: 1 rep` does"
    (note,) = timeline("tempo: {beat: 60 bpm, accent: 4, count: on}, work: 10s").notes
    assert note.message.startswith("2 repetitions fit the 10 s of 'Squat'; the last 2 s are too short")


@pytest.mark.parametrize(
    "move",
    ["tempo: 3-1-2-0, work: 36s", "tempo: 3-1-2-0, work: 7 reps", "tempo: 60 bpm, work: 10.5 s", "work: 7s"],
)
def test_nothing_is_told_of_whole_repetitions_and_of_plain_beats(move: str) -> None:
    assert timeline(move).notes == ()


@pytest.mark.parametrize(
    ("move", "seconds"),
    [
        ("tempo: 96 bpm, work: 32 counts", 20),
        ("tempo: {beat: 128 bpm, accent: 4, count: 8}, work: 32 counts", 15),
        ("tempo: 3-1-2-0, work: 8 reps", 48),
        ("tempo: 3-0-x-1, work: 1 rep", 5),
        ("tempo: {beat: 128 bpm, accent: 8}, work: 4 reps", 15),
        ("tempo: {beat: 128 bpm}, work: 32 reps", 15),
        # A lifting tempo has no beat: counts are then those of the music.
        ("tempo: 3-1-2-0, work: 32 counts", 20),
    ],
)
def test_counts_and_repetitions_last_as_long_as_the_tempo_says(move: str, seconds: int) -> None:
    """32 counts: 15.000 s at 128 beats a minute, 20.000 s at 96 (calculated)."""
    found = timeline(move, bed="{pulse: 96 bpm}")
    (work,) = (phase for phase in found.phases if phase.kind == "work")
    assert work.length.seconds == seconds


def test_counts_and_repetitions_without_their_tempo() -> None:
    assert "8 reps, but no tempo to count them at" in refusal("work: 8 reps")
    assert "add `tempo: 3-1-2-0` to the move, or write a time" in refusal("work: 8 reps")
    assert "a lifting tempo has repetitions: write `8 reps`, or a time" in refusal(
        "tempo: 3-1-2-0, work: 8 counts"
    )
    assert "only a move has repetitions; write a time" in refusal("work: 8s}, {rest: 2 reps")


def test_tones_at_equal_intervals_from_the_start() -> None:
    found = timeline("every: 72/8.5 s, work: 1 min", start="{count: 0, by: none}")
    sounded = [(cue.sound, cue.mark.seconds - 5) for cue in found.cues if isinstance(cue, ToneCue)]
    assert sounded == [("call-bright", number * Fraction(144, 17)) for number in range(8)]
    assert all(cue.place and cue.place.line == 8 for cue in found.cues)


def test_the_long_tone_of_a_count_is_the_first_of_equal_intervals() -> None:
    found = timeline("every: {interval: 3s, tone: soft}, work: 9s")
    sounded = [(cue.sound, cue.mark.seconds - 5) for cue in found.cues if isinstance(cue, ToneCue)]
    assert sounded == [("count-long", 0), ("call-soft", 3), ("call-soft", 6)]
    by_voice = timeline("every: 3s, work: 9s", start="{count: 0, by: voice}")
    assert [cue.mark.seconds - 5 for cue in by_voice.cues if isinstance(cue, ToneCue)] == [0, 3, 6]


@pytest.mark.parametrize(
    ("keys", "message", "hint"),
    [
        ("tempo: 3-1-2", "'3-1-2' has 3 figures", "write four: lowering, pause, lifting, pause, 0 for none"),
        ("tempo: 3-1-2-0-1", "'3-1-2-0-1' has 5 figures", "write four"),
        ("tempo: 30X1", "'30X1' has no dashes", "write 3-0-x-1"),
        ("tempo: 3-x-2-0", "a pause cannot be as fast as you can", "x is for lowering or lifting"),
        ("tempo: 0-0-0-0", "a repetition of 0-0-0-0 is too short", "write 1 s or more in all"),
        ("tempo: 3-1-two-0", "'3-1-two-0' is no lifting tempo", "write four"),
        ("tempo: 60-80 bpm", "'60-80 bpm' is not a number of bpm", "write it like 120 bpm"),
        ("tempo: {accent: 4}", "this tempo has no pace", "add `beat: 60 bpm` or `lift: 3-1-2-0`"),
        (
            "tempo: {beat: 60 bpm, lift: 3-1-2-0}",
            "`beat` and `lift` both give the tempo",
            "keep one of the two",
        ),
        ("tempo: {beat: 60 bpm, by: tones}", "`by` does nothing for a tempo by `beat`", "remove it"),
        ("tempo: {lift: 3-1-2-0, accent: 4}", "`accent` does nothing for a tempo by `lift`", "remove it"),
        ("tempo: {beat: 60 bpm, accent: 1}", "'accent' is '1', allowed is at least 2", ""),
        ("tempo: {beat: 60 bpm, count: 1}", "'count' cannot be '1'", "write on, off, or the number"),
        ("tempo: {beat: 60 bpm, acent: 4}", "unknown key 'acent'", "did you mean 'accent'?"),
        ("tempo: {lift: 3-1-2-0, first: up}", "'first' cannot be 'up'", ""),
        ("every: 0.1 s", "0.1 s is too short an interval", "write 0.2 s or more"),
        ("every: 8", "'8' is a time without a unit", "write 8s or 8 min"),
        ("every: {tone: soft}", "'interval' is missing", "add a line `interval: …`"),
        ("every: {interval: 8s, tone: gong}", "'gong' is no tone", ""),
    ],
)
def test_what_is_no_tempo(keys: str, message: str, hint: str) -> None:
    said = refusal(f"work: 30s, {keys}")
    assert said.count("error:") == 1
    assert "quay.yaml:8:" in said
    assert message in said
    assert hint in said


def test_the_words_of_a_tempo_are_the_same_with_the_prompts_of_the_coach() -> None:
    text = "session: a\nparts:\n  - part: b\n    steps: [{move: Squat, tempo: 3-1-2-0, work: 30s}]\n"
    alone, prompted = compiled(parse_plan(text)), compiled(parse_plan(text), prompts=True)
    assert words(alone) == words(prompted) != []
