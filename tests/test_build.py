"""The whole way on a sample: the file holds what its timeline.json says, and is always the same."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cuetrack import build
from cuetrack.errors import PlanError, UsageError, VoiceMissingError
from cuetrack.sound.tone_table import UNDER_WORDS_DB
from cuetrack.speech.engines.pyttsx3_engine import Pyttsx3Engine
from tests.helpers.decode import decoded

ROOT = Path(__file__).parent.parent
SAMPLE = ROOT / "samples" / "slipway-intervals.yaml"
RATE_HZ = 22_050


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> tuple[np.ndarray, dict[str, Any]]:
    """The sample as decoded samples and its timeline.json."""
    target = tmp_path_factory.mktemp("rendered") / "slipway.wav"
    build.render(SAMPLE, target, rate_hz=RATE_HZ, channels=2)
    return decoded(target, 2), json.loads(target.with_suffix(".timeline.json").read_text("utf-8"))


def test_phases_tile_the_whole_file(rendered: tuple[np.ndarray, dict[str, Any]]) -> None:
    samples, timeline = rendered
    assert len(samples) == timeline["frames"] == 30 * 60 * RATE_HZ
    ends = [phase["start_frame"] + phase["frames"] for phase in timeline["phases"]]
    assert [phase["start_frame"] for phase in timeline["phases"]] == [0, *ends[:-1]]
    assert ends[-1] == timeline["frames"]
    assert [phase["index"] for phase in timeline["phases"]] == list(range(len(ends)))


def test_nothing_sounds_outside_the_cues(rendered: tuple[np.ndarray, dict[str, Any]]) -> None:
    samples, timeline = rendered
    silent = np.ones(len(samples), bool)
    for cue in timeline["cues"]:
        silent[cue["start_frame"] : cue["start_frame"] + cue["frames"]] = False
    assert silent.mean() > 0.5
    assert not samples[silent].any()


def test_both_channels_hold_the_same(rendered: tuple[np.ndarray, dict[str, Any]]) -> None:
    samples, _ = rendered
    assert np.array_equal(samples[:, 0], samples[:, 1])


def test_every_cue_sounds_where_it_is_said_to(rendered: tuple[np.ndarray, dict[str, Any]]) -> None:
    """A tone from its very first sample to its last; speech is audible within 10 ms of both ends."""
    samples, timeline = rendered
    slack = {"tone": 1, "click": 1, "slate": 1}
    assert {cue["kind"] for cue in timeline["cues"]} == {"announcement", "call", "count", "tone", "click"}
    for cue in timeline["cues"]:
        sound = samples[cue["start_frame"] : cue["start_frame"] + cue["frames"], 0]
        near = slack.get(cue["kind"], RATE_HZ // 100)
        assert np.abs(sound[:near]).max() > 0, cue
        assert np.abs(sound[-near:]).max() > 0, cue


def test_the_words_of_a_tempo_are_6_db_softer_than_the_same_word_in_a_count(tmp_path: Path) -> None:
    plan = tmp_path / "strength.yaml"
    plan.write_text(
        "session: Strength\nlead-in: 8s\ncalls: {start: {count: 5, by: voice}}\nparts:\n  - part: Strength\n"
        "    steps: [{move: Squat, tempo: {lift: 3-1-2-0, count: on}, work: 5 reps}]\n"
    )
    arrangement, sounds = build.sounded(build.compile_plan(plan), RATE_HZ)
    softly = [one.sound for one in arrangement.placed if one.sound.startswith("soft ")]
    assert {"soft speech 1:two", "soft speech 1:Hold."} <= set(softly)
    for one in ("two", "three"):
        loud, soft = sounds[f"speech 1:{one}"], sounds[f"soft speech 1:{one}"]
        ratio = float(np.abs(soft).max() / np.abs(loud).max())
        assert 20 * np.log10(ratio) == pytest.approx(-6.0, abs=0.01)
        assert np.argmax(np.abs(soft)) == np.argmax(np.abs(loud))


def test_kinds_say_what_they_are(rendered: tuple[np.ndarray, dict[str, Any]]) -> None:
    _, timeline = rendered
    for cue in timeline["cues"]:
        wordless = cue["kind"] in {"tone", "click", "slate"}
        assert (cue["text"] is None, cue["name"] is None) == (wordless, not wordless)
        if wordless:
            assert cue["mark_frame"] == cue["start_frame"]
        line = SAMPLE.read_text("utf-8").splitlines()[cue["line"] - 1]
        assert line.strip()


def test_the_file_never_reaches_full_scale(rendered: tuple[np.ndarray, dict[str, Any]]) -> None:
    samples, _ = rendered
    assert 0.05 < np.abs(samples / 2**31).max() < 1


@pytest.mark.parametrize("ending", ["wav", "flac", "mp3", "ogg", "opus"])
def test_three_processes_with_their_own_caches_write_the_same_bytes(tmp_path: Path, ending: str) -> None:
    """With the default voice: the natural one, where it is installed."""
    plan = tmp_path / "quay.yaml"
    plan.write_text(
        "session: Quay\nlead-in: 9s\n"
        "parts: [{part: Main, steps: [{move: Band row, work: 20s, sides: both, change: 9s,"
        " calls: {start: {by: both}, finish: {by: voice}}}]}]\n",
        encoding="utf-8",
    )
    written = []
    for name in ("one", "two", "three"):
        target = tmp_path / name / f"quay.{ending}"
        target.parent.mkdir()
        environment = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "CUETRACK_CACHE_DIR": str(tmp_path / f"{name}-c"),
        }
        command = [sys.executable, "-m", "cuetrack", "render", str(plan), "-o", str(target)]
        subprocess.run(command, env=environment, check=True, capture_output=True)
        written.append((target.read_bytes(), target.with_suffix(".timeline.json").read_bytes()))
    assert written[0] == written[1] == written[2]
    assert len(written[0][0]) > 10_000


def test_a_missing_engine_is_said_so_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CUETRACK_CACHE_DIR", str(tmp_path / "cache"))
    program = tmp_path / "engine.py"
    program.write_text("import sys\nprint('no library', file=sys.stderr)\nsys.exit(3)\n", encoding="utf-8")
    monkeypatch.setattr(
        "cuetrack.speech.engines.engine.engine_of",
        lambda voice, language: Pyttsx3Engine(voice, language, program=program),
    )
    with pytest.raises(VoiceMissingError, match="the speech engine cannot start here"):
        build.render(SAMPLE, tmp_path / "slipway.wav", voice="system")
    assert VoiceMissingError.exit_code == 3
    assert [path.name for path in tmp_path.glob("*slipway*")] == []


def test_a_voice_asked_for_by_the_call_is_a_matter_of_usage(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="did you mean 'system'"):
        build.render(SAMPLE, tmp_path / "x.wav", voice="sistem")


def test_too_many_tones_at_once_are_held_at_the_ceiling(tmp_path: Path) -> None:
    plan = tmp_path / "loud.yaml"
    # 800 Hz, in phase: each a whole period behind the one before.
    cues = ", ".join(f"{{at: {1 + number / 800} s, tone: long}}" for number in range(12))
    plan.write_text(
        f"session: Loud\nparts: [{{part: Main, steps: [{{talk: 5s, cues: [{cues}]}}]}}]\n",
        encoding="utf-8",
    )
    build.render(plan, tmp_path / "loud.wav", rate_hz=8_000)
    peak = np.abs(decoded(tmp_path / "loud.wav", 2)).max() / 2**31
    assert 0.1 < peak <= 10 ** (-1 / 20)


def test_a_promise_that_is_not_kept_is_told(tmp_path: Path) -> None:
    plan = tmp_path / "quay.yaml"
    plan.write_text("session: Q\nlength: 1:00\nparts: [{part: A, steps: [{talk: 50s}]}]\n", encoding="utf-8")
    (warning,) = build.check(plan).warnings
    assert warning.message == "the session lasts 55 s, 5 s shorter than promised"
    assert (warning.place.line, warning.place.column) == (2, 9) if warning.place else False


def test_speech_that_does_not_fit_writes_nothing(tmp_path: Path) -> None:
    plan = tmp_path / "quay.yaml"
    plan.write_text(
        "session: Q\nlead-in: 4s\nparts: [{part: A, steps: [{move: Half-kneeling press, work: 50s}]}]\n",
        encoding="utf-8",
    )
    with pytest.raises(PlanError, match=r'the announcement "First: Half-kneeling press." takes [\d.]+ s, '):
        build.render(plan, tmp_path / "quay.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["quay.yaml"]


def test_a_tone_under_a_counted_word_is_softer_and_stays_on_its_sample(tmp_path: Path) -> None:
    """Announcements off and no speech but the count, so that the tones can be looked at alone."""
    plan = tmp_path / "quay.yaml"
    peaks = {}
    for by in ("tones", "both"):
        plan.write_text(
            f"calls: {{announce: off, finish: off, start: {{count: 3, by: {by}}}}}\n"
            "session: Q\nvoice: system\nlead-in: 6s\nparts: [{part: A, steps: [{move: Row, work: 9s}]}]\n",
            encoding="utf-8",
        )
        done = build.render(plan, tmp_path / f"{by}.wav")
        tones = [placed for placed in done.arrangement.placed if placed.tone]
        assert [placed.start_frame for placed in tones] == [second * 48_000 for second in (3, 4, 5, 6)]
        _, sounds = build.sounded(build.compile_plan(plan), 48_000)
        peaks[by] = [float(np.abs(sounds[placed.sound]).max()) for placed in tones]
    assert np.allclose(np.array(peaks["both"]) / peaks["tones"], 10 ** (UNDER_WORDS_DB / 20))
