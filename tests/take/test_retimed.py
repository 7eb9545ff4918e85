"""An arrangement on the time axis of a recording: phases that tile it, cues where they are heard."""

from __future__ import annotations

from itertools import pairwise

import pytest

from cuetrack.conform.arrangement import Arrangement
from cuetrack.plan.text import parse_plan
from cuetrack.take.align import Alignment, Stretch
from cuetrack.take.expected import expected_of
from cuetrack.take.line import Line
from cuetrack.take.retimed import retimed, whole_span
from cuetrack.writers.captions import captions_of
from cuetrack.writers.chapters import chapters_of
from cuetrack.writers.markers import markers_of
from tests.helpers.fake_voice import spoken

RATE_HZ, RECORDING_HZ = 48_000, 44_100
PLAN = """
session: Quay film
lead-in: 10s
parts:
  - part: Circuit
    rest: 20s
    steps:
      - {move: Band row, work: 30s}
      - {move: Chair squat, work: 40s}
"""


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    return spoken(parse_plan(PLAN), RATE_HZ)


def alignment(
    arrangement: Arrangement, *lines: tuple[float, float, float], seconds: float, rate_ppm: float = 0.0
) -> Alignment:
    """Stretches by how much later they are in the recording, and from and to which time of the session."""
    expected = expected_of(arrangement, {}, has_bed=False)
    stretches = []
    for behind, start, end in lines:
        line = Line(start + behind, start, rate_ppm)
        cues = tuple(
            number
            for number, cue in enumerate(expected.cues)
            if start * RATE_HZ <= cue.start_frame and cue.end_frame <= end * RATE_HZ
        )
        first = expected.cues[cues[0]].start_frame / RATE_HZ
        last = expected.cues[cues[-1]].end_frame / RATE_HZ
        spans = line.recording_at(first), line.recording_at(last)
        stretches.append(Stretch(line, *spans, cues, frozenset(cues)))
    frames = round(seconds * RECORDING_HZ)
    return Alignment(expected, RECORDING_HZ, frames, tuple(stretches), None, ())


def assert_tiled(moved: Arrangement) -> None:
    starts = [phase.start.to_frame(moved.rate_hz) for phase in moved.timeline.phases]
    ends = [phase.end.to_frame(moved.rate_hz) for phase in moved.timeline.phases]
    assert starts[0] == 0
    assert ends[-1] == moved.frames
    assert all(end == start for end, start in zip(ends, starts[1:], strict=False))
    assert [phase.index for phase in moved.timeline.phases] == list(range(len(starts)))
    for placed in moved.placed:
        assert 0 <= placed.start_frame < placed.start_frame + placed.frames <= moved.frames
    assert all(one.start_frame <= other.start_frame for one, other in pairwise(moved.placed))


def test_a_take_without_a_break(arrangement: Arrangement) -> None:
    found = alignment(arrangement, (7.5, 0.0, 102.0), seconds=115)
    moved = retimed(arrangement, found)
    assert_tiled(moved)
    assert len(moved.placed) == len(arrangement.placed)
    for one, other in zip(moved.placed, arrangement.placed, strict=True):
        assert one.start_frame / RECORDING_HZ == pytest.approx(other.start_frame / RATE_HZ + 7.5, abs=2e-5)
        assert one.mark_frame / RECORDING_HZ == pytest.approx(other.mark_frame / RATE_HZ + 7.5, abs=2e-5)
    assert [phase.kind for phase in moved.timeline.phases] == [
        phase.kind for phase in arrangement.timeline.phases
    ]
    # The session's ends belong to it, though nothing sounds there.
    first, last = whole_span(found, 0)
    assert first == 0
    assert last == pytest.approx(found.expected.seconds)


def test_a_phase_with_a_pause_lasts_longer(arrangement: Arrangement) -> None:
    moved = retimed(arrangement, alignment(arrangement, (5.0, 0.0, 25.0), (35.0, 25.0, 102.0), seconds=145))
    assert_tiled(moved)
    lengths = {
        (phase.kind, phase.move.move if phase.move else None): float(phase.length.seconds)
        for phase in moved.timeline.phases
    }
    assert sum(float(phase.length.seconds) for phase in moved.timeline.phases) == pytest.approx(145, abs=1e-3)
    assert lengths["work", "Chair squat"] == pytest.approx(40, abs=1e-3)


def test_what_was_done_twice_is_there_twice(arrangement: Arrangement) -> None:
    once = retimed(arrangement, alignment(arrangement, (5.0, 0.0, 102.0), seconds=120))
    twice = retimed(arrangement, alignment(arrangement, (5.0, 0.0, 62.0), (70.0, 0.0, 102.0), seconds=185))
    assert_tiled(twice)
    rows = [phase for phase in twice.timeline.phases if phase.move and phase.move.move == "Band row"]
    assert len({phase.start for phase in rows}) >= 2
    assert len(twice.placed) > 1.4 * len(once.placed)


def test_captions_say_the_same_whatever_the_clock_of_the_recording() -> None:
    """Numbers of a count that are two whole seconds apart stay together."""
    counted = PLAN.replace("session:", "calls: {finish: {count: [5, 3, 2, 1]}}\nsession:")
    arrangement = spoken(parse_plan(counted), RATE_HZ)
    planned = [caption.lines for caption in captions_of(arrangement)]
    assert ("[four short tones, one long]",) in planned
    for rate_ppm in (-200.0, 200.0):
        found = alignment(arrangement, (0.0, 0.0, 102.0), seconds=120, rate_ppm=rate_ppm)
        assert [caption.lines for caption in captions_of(retimed(arrangement, found))] == planned


def test_what_is_written_from_it_stays_in_the_recording(arrangement: Arrangement) -> None:
    moved = retimed(arrangement, alignment(arrangement, (5.0, 0.0, 62.0), (70.0, 0.0, 102.0), seconds=185))
    captions, chapters, markers = captions_of(moved), chapters_of(moved), markers_of(moved)
    assert all(one.end_frame <= other.start_frame for one, other in pairwise(captions))
    assert captions[-1].end_frame <= moved.frames
    assert chapters[0].start_frame == 0
    assert chapters[-1].end_frame == moved.frames
    assert len(markers) == len(moved.placed) + len(moved.timeline.phases)
