"""A recogniser that knows nothing of this program hears each phrase of a rendered session start in its place.

Of the ends less is asserted: how much, `heard` says at its top.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from cuetrack.speech.installed import missing_for
from cuetrack.speech.voices import load_voice

pytest.importorskip("pocketsphinx", reason="pocketsphinx is not installed")

from tests.reports.heard import NEAR_SECONDS, SAMPLES_FOLDER, heard, rendered, spoken_cues, tally, words_of

PLAN = SAMPLES_FOLDER / "boathouse-mobility.yaml"
# How much too early an end may be heard: the closure and release of a stop and a weak last fricative are
# too faint for the recogniser. What the clip holds there, this report cannot tell.
FAINT_SECONDS = 0.2


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """The sample by the natural voice: its sound and its timeline."""
    if (missing := missing_for(load_voice("clear"))) is not None:
        pytest.skip(f"the natural voice is not installed: {missing}")
    return rendered(PLAN, "clear", tmp_path_factory.mktemp("heard"))


def test_each_phrase_of_the_natural_voice_is_heard_in_its_place_and_told_from_the_others(session):
    """Every first word starts within ±50 ms; the ends are held more loosely, the words between not at all."""
    cues = list(heard(*session))
    counted = tally(cues)
    assert counted.alone > 40
    assert counted.found == counted.start_near == counted.cues
    # No end is heard late; of those that are no stop, nine in ten are heard in their place.
    assert all(-FAINT_SECONDS <= cue.end_late_seconds <= NEAR_SECONDS for cue in cues)
    assert counted.open_ends_near >= 0.9 * counted.open_ends
    assert counted.alone_picked >= 0.98 * counted.alone


def test_words_are_found_in_another_place_when_the_timeline_is_wrong(session):
    """The check can fail: the same sound with every phrase claimed 0.12 s early."""
    audio, timeline = session
    early = [
        {**cue, "start_frame": cue["start_frame"] - timeline["sample_rate"] * 12 // 100}
        for cue in timeline["cues"]
    ]
    counted = tally(heard(audio, {**timeline, "cues": early}))
    assert counted.found > 0.9 * counted.cues
    assert counted.start_near == 0


def test_a_gap_belongs_half_to_each_of_its_phrases():
    cues = [{"text": text, "start_frame": start, "frames": 100} for text, start in (("a", 100), ("b", 260))]
    tone = {"text": None, "start_frame": 0, "frames": 50}
    first, second = spoken_cues({"sample_rate": 1000, "frames": 2000, "cues": [tone, *cues]})
    assert (first.from_seconds, first.to_seconds) == (0.05, 0.23)
    assert (second.from_seconds, second.to_seconds) == (0.23, 0.86)


def test_written_words_become_the_dictionary_s():
    assert words_of("10 s: don’t rush, half-kneeling plié!") == [
        "s",
        "don't",
        "rush",
        "half",
        "kneeling",
        "plié",
    ]
