"""Whole sessions with published timing, each with its source; every frame is worked out here in Fractions.

Positions are rounded, half up, never lengths: frame = floor(seconds * rate + 1/2).
"""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate, pairwise

import pytest

from cuetrack.conform.arrangement import Arrangement
from cuetrack.plan.text import parse_plan
from cuetrack.timeline.totals import totals_by_part
from tests.helpers.by_hand import to_frame
from tests.helpers.fake_voice import FakeVoice, spoken

RATES_HZ = (48_000, 44_100, 22_050)


def arranged(plan: str, rate_hz: int, milliseconds: dict[str, int] | None = None) -> Arrangement:
    return spoken(parse_plan(plan), rate_hz, FakeVoice(rate_hz, milliseconds))


def tones(arrangement: Arrangement, *names: str) -> list[tuple[str, int]]:
    return [(str(sound.tone), sound.start_frame) for sound in arrangement.placed if sound.tone in names]


def words(arrangement: Arrangement) -> list[tuple[str, int]]:
    """What is said, each with the frame that it is about."""
    return [(sound.text, sound.mark_frame) for sound in arrangement.placed if sound.text]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_six_pips_lead_to_the_start_of_the_last(rate_hz: int) -> None:
    """Greenwich time signal: pips of 0.1 s at -5 to -1 s, the sixth of 0.5 s; its start is the mark."""
    plan = """
session: Time signal
lead-in: 10s
calls: {announce: off, start: {count: 5, by: tones, sound: pips}, finish: off}
parts:
  - part: Race
    work: 1 min
    rest: 31/3 s
    steps: [{move: Row}, {move: Row again}]
"""
    arrangement = arranged(plan, rate_hz)
    expected = []
    for mark in (Fraction(10), 10 + 60 + Fraction(31, 3)):
        expected += [("pip-short", to_frame(mark - before, rate_hz)) for before in (5, 4, 3, 2, 1)]
        expected += [("pip-long", to_frame(mark, rate_hz))]
    assert tones(arrangement, "pip-short", "pip-long") == expected
    lengths = {sound.tone: sound.frames for sound in arrangement.placed}
    assert lengths == {
        "pip-short": to_frame(Fraction(1, 10), rate_hz),
        "pip-long": to_frame(Fraction(1, 2), rate_hz),
    }
    assert len(arrangement.placed) == 12


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_step_test_of_288_beats(rate_hz: int) -> None:
    """YMCA step test: 96 beats a minute, 3 minutes; a beat is 30,000 frames at 48 kHz, 27,562.5 at 44.1."""
    plan = """
session: Step test
lead-in: 7s
calls: {announce: off, start: {count: 0}, finish: {count: 0, warn: off}}
parts:
  - part: Test
    steps:
      - move: Step
        tempo: 96 bpm
        work: 288 counts
"""
    arrangement = arranged(plan, rate_hz)
    clicks = [frame for _, frame in tones(arrangement, "click")]
    assert len(clicks) == 288
    beat_frames = Fraction(60, 96) * rate_hz
    assert beat_frames == {48_000: 30_000, 44_100: Fraction("27562.5"), 22_050: Fraction("13781.25")}[rate_hz]
    start = 7 * rate_hz
    assert clicks == [start + int(number * beat_frames + Fraction(1, 2)) for number in range(288)]
    boundaries = [start, start + 180 * rate_hz]
    assert tones(arrangement, "count-long") == [("count-long", frame) for frame in boundaries]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("start", ["{count: 0}", "{by: none}"])
def test_step_test_by_tones_at_equal_intervals(rate_hz: int, start: str) -> None:
    """The same 288 beats of 0.625 s; where a count by tones starts the work, its long tone is the first."""
    plan = f"""
session: Step test
lead-in: 7s
calls: {{announce: off, start: {start}, finish: off}}
parts:
  - part: Test
    steps: [{{move: Step, every: 0.625 s, work: 3 min}}]
"""
    sounded = tones(arranged(plan, rate_hz), "count-long", "call-bright")
    expected = [to_frame(7 + Fraction(5, 8) * number, rate_hz) for number in range(288)]
    assert [frame for _, frame in sounded] == expected
    assert [name for name, _ in sounded[1:]] == ["call-bright"] * 287
    assert sounded[0][0] == ("count-long" if "count" in start else "call-bright")


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("kph", ["8.5", "9", "9.5", "10", "10.5"])
def test_shuttles_by_tones_at_equal_intervals(kph: str, rate_hz: int) -> None:
    """Léger 20 m shuttle run: a tone every 72/speed s through a stage of a minute."""
    plan = f"""
session: Shuttles
lead-in: 3s
lead-out: 1s
calls: {{announce: off, start: off, finish: off}}
parts:
  - part: Stage
    steps: [{{move: Shuttle, every: {{interval: 72/{kph} s, tone: short}}, work: 1 min}}]
"""
    interval = 72 / Fraction(kph)
    marks = [3 + number * interval for number in range(9) if number * interval < 60]
    sounded = [frame for _, frame in tones(arranged(plan, rate_hz), "count-short")]
    assert sounded == [to_frame(mark, rate_hz) for mark in marks]


def test_rounding_beats_instead_of_positions_would_be_found() -> None:
    """The check above can fail: 287 beats of 27,563 frames end 143 frames late."""
    assert 287 * 27_563 - int(287 * Fraction("27562.5") + Fraction(1, 2)) == 143


SHUTTLE_STAGES = [  # speed in km/h; shuttles that come nearest to a minute
    (Fraction("8.5"), 7),
    (Fraction(9), 8),
    (Fraction("9.5"), 8),
    (Fraction(10), 8),
    (Fraction("10.5"), 9),
]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_shuttle_run_by_cumulative_time(rate_hz: int) -> None:
    """Léger 20 m shuttle run: 8 + 0.5 * stage km/h, stages of a minute, a shuttle in 72/speed seconds."""
    parts = "".join(
        f"""
  - part: Stage {number}
    rounds: {shuttles}
    steps:
      - move: Shuttle
        work: 72/{float(speed):g} s"""
        for number, (speed, shuttles) in enumerate(SHUTTLE_STAGES, start=1)
    )
    calls = "{announce: off, start: {count: 0}, finish: {count: 0, warn: off}}"
    plan = f"session: Shuttles\nlead-in: 3s\nlead-out: 1s\ncalls: {calls}\nparts:{parts}\n"
    speeds = [8 + Fraction(stage, 2) for stage in (1, 2, 3, 4, 5)]
    assert speeds == [speed for speed, _ in SHUTTLE_STAGES]
    intervals = [Fraction(72) / speed for speed in speeds]
    published = ["8.4706", "8.0000", "7.5789", "7.2000", "6.8571"]
    assert [f"{float(interval):.4f}" for interval in intervals] == published
    assert [round(60 / interval) for interval in intervals] == [shuttles for _, shuttles in SHUTTLE_STAGES]
    every = [i for i, (_, shuttles) in zip(intervals, SHUTTLE_STAGES, strict=True) for _ in range(shuttles)]
    boundaries = [3 + passed for passed in accumulate(every, initial=Fraction(0))]
    arrangement = arranged(plan, rate_hz)
    assert [frame for _, frame in tones(arrangement, "count-long")] == [
        to_frame(boundary, rate_hz) for boundary in boundaries
    ]
    # Rounding each interval instead would have drifted.
    added = 3 * rate_hz + sum(to_frame(interval, rate_hz) for interval in every)
    assert added != to_frame(boundaries[-1], rate_hz)


def test_intervals_of_20_and_10_seconds() -> None:
    """Tabata 1996: 8 sets of 20 s work and 10 s rest, 240 s; 230 s without the last rest."""
    plan = """
session: Short intervals
parts:
  - part: Intervals
    rounds: 8
    rest: 10s
    steps: [{move: Fast feet, work: 20s}]
"""
    for text, lasts, rests in ((plan, 230, 7), (plan.replace("]", ", {rest: 10s}]"), 240, 8)):
        timeline = arranged(text, 48_000).timeline
        (part,) = totals_by_part(timeline.phases)
        assert (part.length.seconds, part.work.seconds, part.rest.seconds) == (lasts, 160, 10 * rests)
        inside = [phase for phase in timeline.phases if phase.part]
        assert [phase.kind for phase in inside] == (["work", "rest"] * 8)[: 8 + rests]
        starts = [phase.start.seconds - 5 for phase in inside if phase.kind == "work"]
        assert starts == [30 * number for number in range(8)]


def test_start_after_a_warning_of_10_seconds_and_3_2_1_go() -> None:
    """FIS freestyle rule 3043.4.3: a warning 10 s before, then "3, 2, 1, Go"."""
    plan = """
session: Start
lead-in: 15s
calls: {announce: off, start: {count: [10, 3, 2, 1], by: voice}, finish: {by: none, warn: off}}
parts:
  - part: Race
    steps: [{move: Row, work: 1 min}]
"""
    expected = [("ten", 5), ("three", 12), ("two", 13), ("one", 14), ("Go.", 15)]
    arrangement = arranged(plan, 48_000)
    assert words(arrangement) == [(word, second * 48_000) for word, second in expected]
    voice = FakeVoice(48_000)
    for sound in arrangement.placed:
        assert sound.start_frame + voice[str(sound.text)].onset_frames == sound.mark_frame


ROPE = """
session: Speed
lead-in: 8s
calls: {announce: name, start: {count: 0}, finish: {count: 0, warn: off}}
parts:
  - part: Speed
    steps:
      - move: Speed run
        work: 1 min
        cues:
          - {at: 10s, say: "10"}
          - {at: 20s, say: "20"}
          - {at: 30s, say: "30"}
          - {at: 40s, say: "40"}
          - {at: 50s, say: "50"}
"""


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_section_of_a_minute_with_a_call_every_10_seconds(rate_hz: int) -> None:
    """International Jump Rope Union, timing tracks: a call every 10 s where a section is 60 s or less.

    All times run from the start of the start tone to the start of the next sound.
    """
    arrangement = arranged(ROPE, rate_hz, {str(second): 400 for second in (10, 20, 30, 40, 50)})
    start = 8 * rate_hz
    calls = [(sound.text, sound.start_frame) for sound in arrangement.placed if sound.text][1:]
    assert calls == [(str(second), start + second * rate_hz) for second in (10, 20, 30, 40, 50)]
    assert [frame for _, frame in tones(arrangement, "count-long")] == [start, start + 60 * rate_hz]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_last_word_ends_half_a_second_before_the_start_tone(rate_hz: int) -> None:
    """Same source: 0.500 s from the last word to the start tone. Here the lead-in leaves no more time."""
    no_more_time = ROPE.replace("lead-in: 8s", "lead-in: 2s")
    after_talk = ROPE.replace("    steps:\n", "    steps:\n      - talk: 20s\n")
    for plan in (no_more_time, after_talk):
        announcement, tone = arranged(plan, rate_hz, {"First: Speed run.": 1350}).placed[:2]
        assert (announcement.text, tone.tone) == ("First: Speed run.", "count-long")
        end = announcement.start_frame + announcement.frames
        assert tone.start_frame - end == to_frame(Fraction(1, 2), rate_hz)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_32_counts_at_two_tempos(rate_hz: int) -> None:
    """32 counts: 15.000 s at 128 beats a minute, 20.000 s at 96 (calculated)."""
    plan = """
session: Counts
lead-in: 0s
bed: {pulse: 96 bpm}
calls: {announce: off, start: {count: 0}, finish: {count: 0, warn: off}}
parts:
  - part: Steps
    work: 32 counts
    steps: [{move: Step}, {move: Turn, tempo: 128 bpm}, {move: Stretch}]
"""
    frames = [frame for _, frame in tones(arranged(plan, rate_hz), "count-long")]
    assert [after - before for before, after in pairwise(frames)] == [
        20 * rate_hz,
        15 * rate_hz,
        20 * rate_hz,
    ]
