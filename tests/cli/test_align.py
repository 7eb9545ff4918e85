"""`cuetrack align` as a coach uses it: a film of the room in, captions, cuts and a clean track out."""

from __future__ import annotations

import csv
import io
import json
import subprocess
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import opentimelineio as otio
import pysubs2
import pytest
import soundfile
import soxr
from click.testing import CliRunner, Result
from scipy.signal import correlate

from cuetrack.build_take import TAKE_ENDINGS
from cuetrack.cli.commands import commands
from cuetrack.errors import CuetrackError, ExitCode
from tests.helpers.takes import reverberant

PLAN = """
session: Quay film
voice: system
lead-in: 10s
parts:
  - part: Circuit
    rest: 20s
    steps:
      - {move: Band row, work: 30s, sides: both, change: 10s, setup: Sit tall.}
      - {move: Chair squat, work: 40s, cues: [{at: 12s, say: Shoulders down.}]}
      - {move: Press, stages: [{slow: 15s}, {fast: 15s}]}
"""
RATE_HZ = 44_100
# The player was paused at this second of the session, for so long; the recording began before it, and its
# clock is so much too fast.
PAUSED_AT, PAUSE, LEAD, DRIFT_PPM = 92.0, 14.5, 6.25, 120.0


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(commands, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plan, its track, and `tuesday.mov`: a film of a room in which it played, with a pause."""
    folder = tmp_path_factory.mktemp("quay")
    (folder / "quay.yaml").write_text(PLAN, encoding="utf-8")
    result = invoke("render", folder / "quay.yaml", "-o", folder / "quay.wav")
    assert result.exit_code == 0, result.output
    track, rate_hz = soundfile.read(folder / "quay.wav", dtype="float32")
    at = round(PAUSED_AT * rate_hz)
    played = [np.zeros(round(LEAD * rate_hz)), track[:at, 0], np.zeros(round(PAUSE * rate_hz)), track[at:, 0]]
    room = reverberant(np.concatenate(played).astype(np.float32), rate_hz, level_db=15)
    heard = soxr.resample(room, rate_hz, RATE_HZ * (1 + DRIFT_PPM / 1e6))
    soundfile.write(folder / "room.wav", heard, RATE_HZ, subtype="PCM_16")
    ffmpeg = imageio_ffmpeg.get_ffmpeg_exe()
    picture = ["-f", "lavfi", "-i", "color=gray:size=64x48:rate=5", "-shortest"]
    sound = ["-i", folder / "room.wav", *picture, "-c:v", "mjpeg", "-c:a", "aac", "-b:a", "128k"]
    subprocess.run([ffmpeg, "-loglevel", "error", *sound, folder / "tuesday.mov"], check=True)
    return folder


def recording_at(seconds: float) -> float:
    """When something of the session is in the recording."""
    return (seconds + LEAD + (PAUSE if seconds >= PAUSED_AT else 0)) * (1 + DRIFT_PPM / 1e6)


@pytest.fixture(scope="module")
def made(folder: Path) -> Path:
    """The same folder with everything that is made of the film."""
    result = invoke("align", folder / "quay.yaml", folder / "tuesday.mov", "--all", "--actual")
    assert result.exit_code == 0, result.output
    assert "is heard in 2 stretches" in result.output
    return folder


def timeline_of(folder: Path) -> dict:
    return json.loads((folder / "quay.timeline.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("source", ["quay.yaml", "quay.timeline.json"])
@pytest.mark.parametrize("recording", ["room.wav", "tuesday.mov"])
def test_the_contract_holds_within_a_millisecond(source: str, recording: str, folder: Path) -> None:
    result = invoke("align", folder / source, folder / recording, "--json")
    assert result.exit_code == 0, result.output
    answer = json.loads(result.output)
    assert answer["passed"]
    assert len(answer["stretches"]) == 2
    for one in answer["stretches"]:
        start, end = one["recording_start_seconds"], one["recording_end_seconds"]
        assert one["confidence"] == 1.0
        for at in (start, end):
            programme = one["programme_start_seconds"] + (at - start) * (1 + one["rate_ppm"] / 1e6)
            assert recording_at(programme) == pytest.approx(at, abs=0.001)
        assert one["rate_ppm"] == pytest.approx(-DRIFT_PPM, abs=2)
    timeline = timeline_of(folder)
    starts = [cue["start_frame"] / timeline["sample_rate"] for cue in timeline["cues"]]
    found = [cue["recording_seconds"] for cue in answer["cues"] if cue["heard"]]
    assert found == pytest.approx([recording_at(start) for start in starts], abs=0.001)


def test_everything_is_written(made: Path) -> None:
    endings = {ending for group in TAKE_ENDINGS.values() for ending in group}
    assert {path.name.removeprefix("tuesday") for path in made.glob("tuesday.*.*")} == endings


@pytest.mark.parametrize("ending", [".captions.vtt", ".captions.srt"])
def test_captions_stand_where_the_words_are_heard(ending: str, made: Path) -> None:
    captions = pysubs2.load(str(made / f"tuesday{ending}"))
    timeline = timeline_of(made)
    said = {
        cue["text"]: recording_at(cue["start_frame"] / timeline["sample_rate"])
        for cue in timeline["cues"]
        if cue["kind"] == "announcement"
    }
    assert len(said) >= 3
    for text, seconds in said.items():
        start = " ".join(text.split()[:2])
        times = [line.start / 1000 for line in captions if start in line.plaintext.replace("\n", " ")]
        assert any(abs(time - seconds) <= 0.01 for time in times), (text, seconds, times)


def test_markers_and_chapters_are_those_of_the_recording(made: Path) -> None:
    rows = list(csv.DictReader(io.StringIO((made / "tuesday.markers.csv").read_text("utf-8-sig"))))
    timeline = timeline_of(made)
    tones = [cue["mark_frame"] / timeline["sample_rate"] for cue in timeline["cues"] if cue["kind"] == "tone"]
    marks = [int(row["mark_frame"]) / int(row["sample_rate"]) for row in rows if row["kind"] == "tone"]
    assert marks == pytest.approx([recording_at(tone) for tone in tones], abs=0.001)
    chapters = (made / "tuesday.chapters.txt").read_text("utf-8").splitlines()
    assert chapters[0].startswith("0:00 ")
    assert [line.split(" ", 1)[1] for line in chapters] == ["Band row", "Chair squat", "Press"]


def test_the_cut_list_is_the_session_without_the_pause(made: Path) -> None:
    edit = otio.adapters.read_from_file(str(made / "tuesday.cuts.otio"))
    kinds = [track.kind for track in edit.tracks]
    assert kinds == ["Video", "Audio"]
    timeline = timeline_of(made)
    lasts = timeline["frames"] / timeline["sample_rate"]
    clips = list(edit.tracks[0])
    assert len(clips) == 2
    kept = sum(clip.source_range.duration.to_seconds() for clip in clips)
    rows = list(csv.DictReader(io.StringIO((made / "tuesday.cuts.csv").read_text("utf-8-sig"))))
    assert [int(row["in_frame"]) for row in rows] == [
        int(clip.source_range.start_time.value) for clip in clips
    ]
    assert clips[0].media_reference.target_url == "tuesday.mov"
    # What is kept begins with the session, ends with it, and leaves out the pause.
    assert float(clips[0].source_range.start_time.to_seconds()) == pytest.approx(recording_at(0), abs=0.01)
    end = clips[1].source_range.end_time_exclusive().to_seconds()
    assert end == pytest.approx(recording_at(lasts), abs=0.01)
    assert lasts - 25 < kept < lasts + 2


def test_the_clean_track_is_the_render_as_the_recording_has_it(made: Path) -> None:
    laid = soundfile.info(made / "tuesday.laid.wav")
    samples, _ = soundfile.read(made / "tuesday.laid.wav", dtype="float32")
    assert laid.samplerate == RATE_HZ
    film = json.loads(invoke("align", made / "quay.yaml", made / "tuesday.mov", "--json").output)
    assert len(samples) == film["frames"]
    track, track_hz = soundfile.read(made / "quay.wav", dtype="float32")
    mono = samples if samples.ndim == 1 else samples[:, 0]
    # Some seconds of each stretch, brought to the recording's clock by hand, have to be there.
    cues = timeline_of(made)["cues"]
    for cue in (cues[0], cues[-4]):
        first, last = cue["start_frame"], cue["start_frame"] + 3 * track_hz
        piece = soxr.resample(track[first:last, 0], track_hz, RATE_HZ * (1 + DRIFT_PPM / 1e6))
        start = round(recording_at(first / track_hz) * RATE_HZ)
        near = mono[start - 200 : start + len(piece) + 200]
        across = correlate(near, piece, "valid", "fft")
        assert piece.any()
        assert abs(int(across.argmax()) - 200) <= 0.001 * RATE_HZ
        assert float(across.max()) == pytest.approx(float(np.dot(piece, piece)), rel=0.02)


def test_a_timeline_has_no_captions(folder: Path) -> None:
    result = invoke("align", folder / "quay.timeline.json", folder / "room.wav", "--with", "captions")
    assert isinstance(result.exception, CuetrackError)
    assert result.exception.exit_code == ExitCode.WRONG_USAGE
    assert "made from the plan" in str(result.exception)


def test_all_of_a_timeline_is_what_can_be_made_of_it(folder: Path) -> None:
    base = folder / "from-timeline"
    result = invoke("align", folder / "quay.timeline.json", folder / "room.wav", "--all", "-o", base)
    assert result.exit_code == 0, result.output
    names = {path.name for path in folder.glob("from-timeline.*")}
    assert names == {
        f"from-timeline{ending}" for ending in (".cuts.csv", ".cuts.otio", ".take.png", ".laid.wav")
    }


def test_an_unknown_name_is_told(folder: Path) -> None:
    result = invoke("align", folder / "quay.yaml", folder / "room.wav", "--with", "capitons")
    assert "did you mean 'captions'?" in str(result.exception)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        (
            "text.mp3",
            b"this is no sound, it is a text that somebody renamed\n" * 50,
            "cannot be read as sound",
        ),
        ("empty.wav", b"", "cannot be read"),
        ("missing.wav", None, "is not there"),
    ],
)
def test_what_is_no_sound_is_told(
    name: str, content: bytes | None, said: str, folder: Path, tmp_path: Path
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    result = invoke("align", folder / "quay.yaml", path)
    assert isinstance(result.exception, CuetrackError)
    assert said in str(result.exception)


def test_what_is_not_the_session_is_refused_and_nothing_written(folder: Path, tmp_path: Path) -> None:
    noise = np.random.default_rng(1).standard_normal(RATE_HZ * 60) * 0.1
    soundfile.write(tmp_path / "noise.wav", noise, RATE_HZ)
    result = invoke("align", folder / "quay.yaml", tmp_path / "noise.wav")
    assert result.exit_code == ExitCode.ERRORS
    assert "not lined up. This session is not heard in the recording; give" in result.output
    result = invoke("align", folder / "quay.yaml", tmp_path / "noise.wav", "--all")
    assert "nothing is written" in str(result.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["noise.wav"]


def test_a_recording_that_breaks_off_is_used_as_far_as_it_goes(folder: Path, tmp_path: Path) -> None:
    data = (folder / "room.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: len(data) // 2])
    result = invoke("align", folder / "quay.yaml", tmp_path / "cut.wav", "--json")
    assert result.exit_code == 0, result.output
    answer = json.loads(result.output)
    assert answer["stretches"][0]["recording_start_seconds"] < recording_at(20)


def test_one_dead_channel_does_not_matter(folder: Path, tmp_path: Path) -> None:
    samples, rate_hz = soundfile.read(folder / "room.wav", dtype="float32")
    soundfile.write(tmp_path / "dead.wav", np.stack([0 * samples, samples], axis=1), rate_hz)
    answer = json.loads(invoke("align", folder / "quay.yaml", tmp_path / "dead.wav", "--json").output)
    assert len(answer["stretches"]) == 2


def test_the_recording_is_never_replaced(folder: Path) -> None:
    (folder / "room.laid.wav").write_bytes((folder / "room.wav").read_bytes())
    result = invoke(
        "align", folder / "quay.yaml", folder / "room.laid.wav", "--with", "track", "-o", folder / "room"
    )
    assert "would replace" in str(result.exception)


def test_names_begin_as_they_are_said_to(folder: Path) -> None:
    """A date with dots is no ending."""
    base = folder / "film-30.11.2026"
    result = invoke("align", folder / "quay.yaml", folder / "room.wav", "--with", "cuts", "-o", base)
    assert result.exit_code == 0, result.output
    assert {path.name for path in folder.glob("film-*")} == {
        f"{base.name}.cuts.csv",
        f"{base.name}.cuts.otio",
    }


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["room.wav", "-o", "."], "-o . is a folder; say what the names in it begin with, such as tuesday"),
        (["."], "no ordinary file; name a sound file"),
    ],
    ids=["names", "recording"],
)
def test_a_folder_is_no_beginning_of_names_and_no_recording(
    folder: Path, arguments: list[str], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    result = invoke("align", "quay.yaml", *arguments, "--with", "cuts")
    assert isinstance(result.exception, CuetrackError), result.exception
    assert said in str(result.exception)
