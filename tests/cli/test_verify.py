"""`cuetrack verify` as its user calls it: what it prints, its JSON, its exit code, and its plain refusals."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
import pytest

from cuetrack import build
from cuetrack.cli.commands import run
from tests.helpers.tampering import TONES, moved, read, without, write


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rendered")
    (folder / "quay.yaml").write_text(TONES, encoding="utf-8")
    build.render(folder / "quay.yaml", folder / "quay.wav")
    return folder


@pytest.fixture
def quay(rendered: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder in which commands run: the plan, its track and its timeline."""
    for file in rendered.iterdir():
        (tmp_path / file.name).symlink_to(file)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def cues(folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((folder / "quay.timeline.json").read_text("utf-8"))["cues"]
    return found


def answer_of(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    def refused(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    code = run(["verify", *arguments, "--json"])
    return code, json.loads(capsys.readouterr().out, parse_constant=refused)


@pytest.mark.parametrize("source", ["quay.yaml", "quay.timeline.json"])
def test_a_render_passes(quay: Path, capsys: pytest.CaptureFixture[str], source: str) -> None:
    assert run(["verify", source, "quay.wav"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    verdict, blank, headings, *rows = printed.out.splitlines()
    assert re.fullmatch(r"quay\.wav: passed  0:4\d\.\d  48000 Hz  21 of 21 cues compared", verdict)
    assert blank == ""
    assert headings.split("  ")[0] == "cues"
    assert [row.split()[:5] for row in rows] == [
        ["tone", "18", "18", "0", "frames"],
        ["slate", "3", "3", "0", "frames"],
    ]


def test_all_cues_are_listed_if_wanted(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", "quay.yaml", "quay.wav", "--all-cues"]) == 0
    assert capsys.readouterr().out.count("pip-short") == 9


def test_what_is_wrong_is_listed(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    samples, rate_hz = read(quay / "quay.wav")
    first, second = cues(quay)[7], cues(quay)[11]
    made = moved(without(samples, first), second, 1)
    made[int(1.5 * rate_hz)] = 0.5
    write(quay / "wrong.wav", made, rate_hz)
    assert run(["verify", "quay.yaml", "wrong.wav"]) == 1
    out = capsys.readouterr().out
    assert out.startswith("wrong.wav: not as planned  ")
    assert out.splitlines()[1:4] == [
        "  1 cue is missing",
        "  1 cue is at the wrong place, by 1 frame (0.02 ms) late",
        "  1 sound does not belong there",
    ]
    assert re.search(r"\d:\d\d\.\d +missing +tone pip-short \(line \d+\)\n", out)
    assert re.search(r"\+1 frame \(\+0\.02 ms\) +\+0\.0 dB +tone call-soft", out)
    assert re.search(r"0:01\.50 +0\.01 s +-33 dBFS +like none of the cues", out)


def test_a_cue_that_may_be_off_so_much_is_not_listed(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1.01 ms are 48.48 frames, of which the last counts whole."""
    samples, rate_hz = read(quay / "quay.wav")
    write(quay / "off.wav", moved(samples, cues(quay)[11], 49), rate_hz)
    assert run(["verify", "quay.yaml", "off.wav", "--within", "1.01ms"]) == 0
    assert "wrong or missing" not in capsys.readouterr().out
    assert run(["verify", "quay.yaml", "off.wav", "--within", "1ms"]) == 1
    assert "wrong or missing" in capsys.readouterr().out


def test_many_wrong_cues_are_not_all_listed(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(quay / "none.wav", np.full((48_000, 2), 1e-3), 48_000)
    assert run(["verify", "quay.yaml", "none.wav"]) == 1
    out = capsys.readouterr().out
    assert "  none of the plan's cues is in this file\n" in out
    assert "and 1 more; --json has all" in out


def test_json(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, answer = answer_of(capsys, "quay.yaml", "quay.wav")
    frames = json.loads((quay / "quay.timeline.json").read_text("utf-8"))["frames"]
    assert code == 0
    assert list(answer) == [
        *("passed", "audio", "sample_rate", "frames", "planned_frames", "late_frames", "courses"),
        *("speed_ppm", "level_db", "faults", "cues", "rests", "extra", "notes", "diagnostics"),
    ]
    assert (answer["passed"], answer["audio"], answer["sample_rate"]) == (True, "quay.wav", 48_000)
    assert (answer["frames"], answer["planned_frames"], answer["late_frames"]) == (frames, frames, 0)
    assert answer["courses"] == [{"from_frame": 0, "late_frames": 0}]
    assert (answer["speed_ppm"], answer["level_db"], answer["faults"], answer["extra"]) == (None, 0, [], [])
    assert answer["cues"][0] == {
        **{key: cues(quay)[0][key] for key in ("kind", "text", "name", "phase", "line", "mark_frame")},
        "found_frame": cues(quay)[0]["mark_frame"],
        "error_frames": 0,
        "level_db": 0,
        "compared": True,
    }
    assert [(rest["exact_zero"], rest["passed"]) for rest in answer["rests"]] == [(True, True)] * 3


def test_json_of_a_silent_file_holds_no_infinity(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    samples, rate_hz = read(quay / "quay.wav")
    write(quay / "silent.wav", 0 * samples, rate_hz)
    code, answer = answer_of(capsys, "quay.yaml", "silent.wav")
    assert code == 1
    assert answer["faults"] == ["it is silent", "none of the plan's cues is in this file"]
    assert {cue["found_frame"] for cue in answer["cues"]} == {None}


def test_a_late_file_and_how_late_it_may_be(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    samples, rate_hz = read(quay / "quay.wav")
    write(quay / "late.wav", np.concatenate([np.zeros((48, 2)), samples]), rate_hz)
    code, answer = answer_of(capsys, "quay.yaml", "late.wav")
    assert (code, answer["late_frames"]) == (1, 48)
    assert answer["faults"] == ["everything is 48 frames (1.00 ms) late"]
    assert answer_of(capsys, "quay.yaml", "late.wav", "--within", "1 ms")[0] == 0


def test_what_is_within_the_tolerance_is_not_listed_as_wrong(
    quay: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0.02 ms are 0.96 frames, which allow one: for the verdict and for the list."""
    samples, rate_hz = read(quay / "quay.wav")
    write(quay / "near.wav", moved(samples, cues(quay)[11], 1), rate_hz)
    assert run(["verify", "quay.yaml", "near.wav", "--within", "0.02 ms"]) == 0
    assert "wrong or missing" not in capsys.readouterr().out
    assert run(["verify", "quay.yaml", "near.wav"]) == 1
    assert "wrong or missing" in capsys.readouterr().out


def test_a_video_with_the_track_in_it(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = imageio_ffmpeg.get_ffmpeg_exe()
    picture = ["-f", "lavfi", "-i", "color=size=32x32:rate=5", "-i", "quay.wav", "-shortest"]
    subprocess.run([program, "-v", "error", *picture, "-c:a", "aac", "quay.mp4"], check=True)
    code, answer = answer_of(capsys, "quay.yaml", "quay.mp4")
    assert {cue["error_frames"] for cue in answer["cues"]} == {0}
    assert code == 0 or "shorter" in answer["faults"][0]  # the video ends on one of its own frames


@pytest.mark.parametrize("share", [0.4, 0.9])
def test_a_file_that_was_not_copied_whole(
    quay: Path, capsys: pytest.CaptureFixture[str], share: float
) -> None:
    whole = (quay / "quay.wav").read_bytes()
    (quay / "cut.wav").write_bytes(whole[: int(share * len(whole))])
    code, answer = answer_of(capsys, "quay.yaml", "cut.wav")
    assert code == 1
    assert answer["faults"][-1].endswith(" shorter than planned")
    assert {cue["error_frames"] for cue in answer["cues"]} == {0, None}


def test_a_low_rate_is_compared_at_its_own(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build.render(Path("quay.yaml"), quay / "low.wav", rate_hz=8_000)
    code, answer = answer_of(capsys, "quay.yaml", "low.wav")
    assert (code, answer["sample_rate"]) == (0, 8_000)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("text.mp3", b"hello\n" * 99, "text.mp3 cannot be read as sound"),
        ("empty.wav", b"", "empty.wav cannot be read as sound"),
        ("head.wav", b"RIFF\x10\x00\x00\x00WAVEfmt ", "head.wav cannot be read as sound"),
    ],
)
def test_what_is_no_sound(
    quay: Path, capsys: pytest.CaptureFixture[str], name: str, content: bytes, said: str
) -> None:
    (quay / name).write_bytes(content)
    assert run(["verify", "quay.yaml", name]) == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"error: {said}")
    assert answer_of(capsys, "quay.yaml", name)[1]["passed"] is False


def test_a_video_without_sound(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = imageio_ffmpeg.get_ffmpeg_exe()
    picture = ["-f", "lavfi", "-i", "color=size=32x32:duration=1"]
    subprocess.run([program, "-v", "error", *picture, "mute.mp4"], check=True)
    assert run(["verify", "quay.yaml", "mute.mp4"]) == 1
    assert capsys.readouterr().err == "error: mute.mp4 has no sound in it; name a file that has\n"


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["no.yaml", "quay.wav"], 1, "no.yaml:1:1: error: no such file"),
        (["no.json", "quay.wav"], 1, "no.json cannot be read: No such file or directory"),
        (["quay.yaml", "no.wav"], 1, "no.wav is not there; name a sound file"),
        (["quay.yaml", "quay.wav", "--within", "soon"], 2, "--within: 'soon' is not a time"),
        (["quay.yaml", "quay.wav", "--within", "1"], 2, "write 1s or 1 min"),
        (["quay.timeline.json", "quay.wav", "--mix", "ear"], 2, "a timeline is of one mix"),
        (["quay.timeline.json", "quay.wav", "--day", "2"], 2, "--day is for a series of plans"),
        (["quay.yaml"], 2, "Missing argument 'AUDIO'"),
    ],
)
def test_wrong_calls(
    quay: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, said: str
) -> None:
    assert run(["verify", *arguments]) == code
    assert said in capsys.readouterr().err
