"""Words of a tempo: their perceived onset on the mark, softly, giving way to all that the class is told."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from textwrap import dedent

import pytest

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.conform.fit import BREATH, Shortening, arranged
from cuetrack.plan.text import parse_plan
from cuetrack.speech.length import SpokenLength
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.cues import CountWord, Prompt, TempoWord
from tests.helpers.by_hand import to_frame
from tests.helpers.fake_voice import FakeVoice, spoken, wording

PLAN = """
    session: Boathouse strength
    lead-in: 10s
    calls: {start: START, finish: {count: 3, by: voice}, halfway: on}
    parts:
      - part: Strength
        rounds: 2
        rest: 20s
        steps:
          - move: Goblet squat
            tempo: TEMPO
            work: WORK
            cues: [{at: 11.5 s, say: Keep breathing.}]
"""


def arrangement(
    tempo: str, rate_hz: int = 48_000, *, work: str = "60s", start: str = "{count: 3}", prompts: bool = False
) -> Arrangement:
    text = PLAN.replace("TEMPO", tempo).replace("WORK", work).replace("START", start)
    return spoken(compiled(parse_plan(dedent(text)), prompts=prompts), rate_hz)


def paced(done: Arrangement) -> list[Placed]:
    return [placed for placed in done.placed if isinstance(placed.cue, TempoWord)]


@pytest.mark.parametrize("rate_hz", [48_000, 44_100, 22_050])
@pytest.mark.parametrize("tempo", ["3-1-2-0", "2.5-0-x-0.7", "{beat: 130 bpm, accent: 3, count: 8}"])
def test_each_stands_with_its_onset_on_its_exact_mark_or_is_left_out(tempo: str, rate_hz: int) -> None:
    done, voice = arrangement(tempo, rate_hz), FakeVoice(rate_hz)
    words = paced(done)
    planned = [cue for cue in done.timeline.cues if isinstance(cue, TempoWord)]
    assert len(planned) > len(words) > len(planned) / 2
    for placed in words:
        assert placed.mark_frame == to_frame(placed.cue.mark.seconds, rate_hz)
        assert placed.start_frame + voice[placed.text or ""].onset_frames == placed.mark_frame


def test_whatever_else_is_said_is_where_it_is_without_a_tempo() -> None:
    others = [
        (placed.text, placed.start_frame)
        for placed in arrangement("3-1-2-0").placed
        if placed.text and not isinstance(placed.cue, TempoWord)
    ]
    plain = [(placed.text, placed.start_frame) for placed in arrangement("60 bpm").placed if placed.text]
    assert others == plain


def test_nothing_is_said_at_once_and_others_have_a_breath_of_their_own() -> None:
    said = [placed for placed in arrangement("1-0-1-0").placed if placed.text]
    breath = to_frame(BREATH.seconds, 48_000)
    for before, after in pairwise(said):
        apart = 0 if all(isinstance(placed.cue, CountWord) for placed in (before, after)) else breath
        assert before.start_frame + before.frames + apart <= after.start_frame
        if isinstance(before.cue, TempoWord) is not isinstance(after.cue, TempoWord):
            assert before.start_frame + before.frames + breath <= after.start_frame


def test_those_without_room_are_told_once_for_all_rounds() -> None:
    done = arrangement("3-1-2-0")
    planned = sum(isinstance(cue, TempoWord) for cue in done.timeline.cues)
    (note,) = done.warnings
    left_out = planned - len(paced(done))
    assert left_out > 2
    assert planned == 2 * 10 * 3
    assert note.message == (
        f"{left_out} of the {planned} words of this tempo have no room beside what else is said; "
        "they are left out"
    )
    assert note.hint == "`by: tones` needs no room"
    assert note.place is not None
    assert note.place.line_text.strip() == "tempo: 3-1-2-0"


def test_the_note_of_an_unfinished_repetition_comes_with_the_arrangement() -> None:
    notes = [note.message for note in arrangement("3-1-2-0", work="40s").warnings]
    assert sum(note.startswith("6 repetitions of 3-1-2-0 fit the 40 s") for note in notes) == 1


def test_none_lies_beyond_its_work() -> None:
    """'Hold' of the last half second is too long for it; a word on the start begins in the rest before."""
    for placed in paced(arrangement("3-1-1.6-0.4", work="10 reps")):
        assert placed.start_frame + placed.frames <= placed.cue.window.latest_end.to_frame(48_000)


def test_none_begins_before_the_session() -> None:
    """The onset of "Down." is heard 50 ms after it begins: on the very start there is no time for it."""
    text = PLAN.replace("10s", "0s", 1).replace("TEMPO", "3-1-2-0").replace("WORK", "24s")
    voice = FakeVoice(48_000, onset_ms=50)
    done = spoken(parse_plan(dedent(text.replace("START", "off, announce: off"))), 48_000, voice)
    first = [placed.cue.mark.seconds for placed in paced(done)][:3]
    assert first == [3, 4, 6]
    assert all(placed.start_frame >= 0 for placed in done.placed)


def test_their_samples_are_a_softer_clip_of_the_same_words() -> None:
    assert {placed.sound for placed in paced(arrangement("3-1-2-0"))} == {
        f"soft speech 1:{word}" for word in ("Down.", "Hold.", "Up.")
    }


def test_prompts_of_the_coach_give_way_to_them() -> None:
    alone, prompted = arrangement("3-1-2-0"), arrangement("3-1-2-0", prompts=True)
    assert any(isinstance(cue, Prompt) for cue in prompted.timeline.cues)
    assert [(placed.text, placed.start_frame) for placed in paced(prompted)] == [
        (placed.text, placed.start_frame) for placed in paced(alone)
    ]


def test_a_number_that_is_too_long_for_its_beat_is_spoken_faster() -> None:
    """700 ms, 0 ms of them before the onset, on a beat of 600 ms: 17 % faster fits."""
    text = PLAN.replace("TEMPO", "{beat: 100 bpm, count: on}").replace("WORK", "24s").replace("START", "off")
    voice = FakeVoice(48_000, {"three": 700}, onset_ms=0)

    def length_at(words: str, tempo: Fraction) -> SpokenLength:
        usual = voice[words]
        return SpokenLength(int(usual.frames / tempo), 0)

    done = arranged(
        compiled(parse_plan(dedent(text))), wording, voice, 48_000, shortening=Shortening(wording, length_at)
    )
    tempos = {placed.text: placed.tempo for placed in paced(done)}
    assert tempos["two"] == 1
    assert tempos["three"] == Fraction(117, 100)
