"""A timeline is read back as it was written, at any rate; what is none is refused on its first mistake."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from cuetrack.errors import TimelineError
from cuetrack.plan.model import Session
from cuetrack.take.expected import expected_of
from cuetrack.take.timeline_file import read_timeline
from cuetrack.writers.timeline_json import timeline_text
from tests.helpers.fake_voice import spoken

RATE_HZ = 44_100
PLAN = {
    "session": "Quay",
    "lead-in": "9 s",
    "parts": [{"part": "Main", "rounds": 2, "rest": "8 s", "steps": [{"move": "Row", "work": "144/17 s"}]}],
}


@pytest.fixture
def document(tmp_path: Path) -> dict[str, Any]:
    arrangement = spoken(Session.model_validate(PLAN), RATE_HZ)
    speech = {"voice": "clear", "language": "en", "lexicon": {}}
    made: dict[str, Any] = json.loads(timeline_text(arrangement, speech=speech, has_bed=False))
    return made


def written(folder: Path, document: object) -> Path:
    path = folder / "quay.timeline.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def test_it_says_what_the_plan_says(tmp_path: Path, document: dict[str, Any]) -> None:
    arrangement = spoken(Session.model_validate(PLAN), RATE_HZ)
    expected = expected_of(arrangement, {}, has_bed=False)
    file = read_timeline(written(tmp_path, document))
    assert (file.session, file.rate_hz, file.mix, file.has_bed) == ("Quay", RATE_HZ, "class", False)
    assert (file.frames, file.phases) == (expected.frames, expected.phases)
    assert file.speech == ("clear", "en", {})

    def told(cues: Any) -> list[tuple[object, ...]]:
        return [
            (one.kind, one.text, one.name, one.mark_frame, one.start_frame, one.frames, one.phase, one.line)
            for one in cues
        ]

    assert told(file.cues) == told(expected.cues)
    assert {one.sound for one in file.cues} == {*file.tones, *file.spoken}


def test_at_another_rate_frames_are_where_the_seconds_are(tmp_path: Path, document: dict[str, Any]) -> None:
    file = read_timeline(written(tmp_path, document), 48_000)
    for cue, row in zip(file.cues, document["cues"], strict=True):
        assert abs(cue.start_frame / 48_000 - row["start_frame"] / RATE_HZ) <= 0.5 / 48_000
    ends = [phase.end_frame for phase in file.phases]
    assert [phase.start_frame for phase in file.phases] == [0, *ends[:-1]]
    assert ends[-1] == file.frames


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"cuetrack": 2}, "cuetrack: input should be 1"),
        ({"sample_rate": 0}, "sample_rate"),
        ({"frames": -1}, "frames"),
        ({"phases": []}, "phases"),
        ({"cues": None}, "cues"),
        ({"gain_db": float("nan")}, "gain_db"),
        ({"gain_db": float("inf")}, "gain_db"),
        ({"session": None}, "session"),
    ],
)
def test_what_is_no_timeline(
    tmp_path: Path, document: dict[str, Any], changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(TimelineError, match=f"is no timeline: {said}.*give the NAME.timeline.json"):
        read_timeline(written(tmp_path, {**document, **changed}))


@pytest.mark.parametrize("tempo", ["0", "1/0", "fast", "5"])
def test_a_tempo_that_cannot_be(tmp_path: Path, document: dict[str, Any], tempo: str) -> None:
    spoken_cue = next(cue for cue in document["cues"] if cue["text"])
    spoken_cue["tempo"] = tempo
    with pytest.raises(TimelineError, match="allowed are 1/4 to 4"):
        read_timeline(written(tmp_path, document))


@pytest.mark.parametrize("text", ["", "[]", "{", "null", "[" * 100_000, "\udce4"])
def test_what_is_no_json(tmp_path: Path, text: str) -> None:
    path = tmp_path / "quay.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(TimelineError, match=r"is no (JSON|timeline)"):
        read_timeline(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(TimelineError, match=r"cannot be read: No such file"):
        read_timeline(tmp_path / "no.json")
