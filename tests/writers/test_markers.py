"""Markers read back by the csv module and by OpenTimelineIO, compared to the sample."""

from __future__ import annotations

import csv
import io

import pytest

from cuetrack.timeline.cues import kind_of
from cuetrack.writers.markers import markers_csv, markers_of, markers_otio
from tests.helpers.likely import SAMPLES, likely, likely_of, untidy_plan

PLANS = [*SAMPLES, None]


def _arrangement(plan, rate_hz=44_100):
    return likely_of(untidy_plan(), rate_hz) if plan is None else likely(plan, rate_hz)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem if plan else "untidy texts")
def test_every_phase_and_cue_has_its_marker_in_the_csv(plan):
    arrangement = _arrangement(plan)
    text = markers_csv(markers_of(arrangement), arrangement.rate_hz).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == len(arrangement.timeline.phases) + len(arrangement.placed)
    assert [int(row["start_frame"]) for row in rows] == sorted(int(row["start_frame"]) for row in rows)
    found = sorted((row["kind"], int(row["mark_frame"]), int(row["frames"])) for row in rows)
    starts = [phase.start.to_frame(44_100) for phase in arrangement.timeline.phases] + [arrangement.frames]
    phases = [
        (phase.kind, start, end - start)
        for phase, start, end in zip(arrangement.timeline.phases, starts, starts[1:], strict=False)
    ]
    cues = [(kind_of(one.cue), one.mark_frame, one.frames) for one in arrangement.placed]
    assert found == sorted([*phases, *cues])
    assert {row["sample_rate"] for row in rows} == {"44100"}


def test_a_csv_runs_nothing_in_a_spreadsheet():
    """OWASP, "CSV Injection": no cell begins with a sign that starts a formula."""
    plan = "session: S\nlead-in: 30s\nparts: [{part: P, steps: [{move: '=1+1', work: 20s}]}]\n"
    arrangement = likely_of(plan)
    text = markers_csv(markers_of(arrangement), arrangement.rate_hz).decode("utf-8-sig")
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    assert "'=1+1" in cells
    assert not any(cell[:1] in "=+-@" for cell in cells if cell)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem if plan else "untidy texts")
def test_opentimelineio_reads_every_marker_back_to_the_sample(plan):
    otio = pytest.importorskip("opentimelineio", reason="the extra `editor` is not installed")
    arrangement = _arrangement(plan, 48_000)
    markers = markers_of(arrangement)
    edit = otio.adapters.read_from_string(markers_otio(markers, arrangement, "quay.wav"), "otio_json")
    (clip,) = edit.find_clips()
    assert clip.media_reference.target_url == "quay.wav"
    assert clip.source_range.duration == otio.opentime.RationalTime(arrangement.frames, 48_000)
    back = [
        (
            one.metadata["cuetrack"]["kind"],
            one.name,
            int(one.marked_range.start_time.value),
            int(one.marked_range.duration.value),
            one.metadata["cuetrack"]["mark_frame"],
        )
        for one in clip.markers
    ]
    assert {one.marked_range.start_time.rate for one in clip.markers} == {48_000}
    assert back == [(one.kind, one.name, one.start_frame, one.frames, one.mark_frame) for one in markers]


def test_the_same_session_gives_the_same_file():
    pytest.importorskip("opentimelineio", reason="the extra `editor` is not installed")
    first, second = (likely(SAMPLES[0]) for _ in range(2))
    texts = [markers_otio(markers_of(one), one, "quay.wav") for one in (first, second)]
    assert texts[0] == texts[1]
