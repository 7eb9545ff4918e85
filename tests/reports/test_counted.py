"""Counted numbers in a finished file: heard on their marks by two estimators, in every language shipped."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.speech.installed import missing_for
from cuetrack.speech.onset import perceived_onset
from cuetrack.speech.voices import load_voice, voice_names

pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")

from tests.helpers.decode import decoded
from tests.reports.heard import rendered
from tests.speech.estimators.fastest_rise import fastest_rise_seconds

LANGUAGES = ("en", "es", "de", "fr")
SHIPPED = [
    (name, language) for name in voice_names() for language in LANGUAGES if load_voice(name).speaks(language)
]
COUNTED = 30
OURS_SECONDS, SECOND_SECONDS = 0.010, 0.025

PLAN = f"""
loudness: -20 LUFS
session: Oar handle holds on the quay
language: LANGUAGE
length: 1:00
lead-in: 5s
calls: {{announce: [], start: {{count: 0}}, finish: {{warn: off, count: {COUNTED}, by: voice}}}}
parts:
  - part: Holds
    steps:
      - move: Hold
        work: 40s
      - talk: 10s
"""


@pytest.mark.parametrize(("voice", "language"), SHIPPED)
def test_counted_numbers_are_heard_on_their_marks(tmp_path: Path, voice: str, language: str):
    """25 ms: just noticeable at one a second (Friberg & Sundberg 1995)."""
    if (missing := missing_for(load_voice(voice))) is not None:
        pytest.skip(f"voice {voice!r} is not installed: {missing}")
    plan = tmp_path / "holds.yaml"
    plan.write_text(PLAN.replace("LANGUAGE", language), encoding="utf-8")
    audio, timeline = rendered(plan, voice, tmp_path)
    rate_hz = timeline["sample_rate"]
    mono = (decoded(audio, 2).mean(axis=1) / 2**31).astype("float32")
    ours, second = {}, {}
    for cue in timeline["cues"]:
        if cue["kind"] == "count" and cue["text"]:
            start, mark = cue["start_frame"], cue["mark_frame"]
            word = mono[start : start + cue["frames"]]
            ours[cue["text"]] = (start + perceived_onset(word, rate_hz) - mark) / rate_hz
            second[cue["text"]] = (start - mark) / rate_hz + fastest_rise_seconds(word, rate_hz)
    assert len(ours) >= COUNTED
    assert {word: late for word, late in ours.items() if abs(late) > OURS_SECONDS} == {}
    assert {word: late for word, late in second.items() if abs(late) > SECOND_SECONDS} == {}
