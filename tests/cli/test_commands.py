"""Every command as its user calls it: what it prints, where, and the exit code."""

from __future__ import annotations

import errno
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

import cuetrack
from cuetrack.cli.commands import commands, run
from tests.helpers.interrupts import interruptible

ROOT = Path(__file__).parents[2]
SAMPLES = sorted((ROOT / "samples").glob("*.yaml"))
PLAN = """session: Quay
lead-in: 6s
parts:
  - part: Main
    steps:
      - {move: March, work: 20s}
"""
BROKEN = PLAN.replace("work: 20s", "wrok: 20s").replace("lead-in: 6s", "lead-in: 6")


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = Path("quay.yaml")
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_there_are_samples() -> None:
    assert len(SAMPLES) == 3


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_samples_keep_their_promise_without_a_warning(
    sample: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["check", str(sample), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["diagnostics"] == []
    promised = next(line for line in sample.read_text("utf-8").splitlines() if line.startswith("length:"))
    minutes, seconds = promised.split(":", 1)[1].split(":")
    assert answer["length_seconds"] == int(minutes) * 60 + int(seconds)
    assert answer["length_seconds"] == pytest.approx(
        sum(part["length_seconds"] for part in answer["parts"]) + 10
    )


@pytest.mark.parametrize("level", ["easier", "harder"])
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_samples_fit_in_every_level(sample: Path, level: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(sample), "--level", level, "--voice", "clear", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["diagnostics"] == []


def test_check_prints_totals(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "quay.yaml"]) == 0
    printed = capsys.readouterr()
    *totals, heading, suggestion, _, pointer = printed.out.splitlines()
    assert totals == [
        "Quay",
        "part           length  work  rest  talk",
        "Main             0:20  0:20",
        "whole session    0:28  0:20",
    ]
    assert heading == "suggestions, not mistakes:"
    assert suggestion.startswith("  warm-up: no part is called a warm-up; ")
    assert pointer.endswith("sources: cuetrack review; none of this is medical advice)")
    assert printed.err == ""


def test_errors_go_to_stderr_with_exit_code_1(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text(BROKEN, encoding="utf-8")
    assert run(["check", "quay.yaml"]) == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("quay.yaml:2:10: error: '6' is a time without a unit\n")
    assert "quay.yaml:6:23: error: unknown key 'wrok'" in printed.err
    assert "hint: did you mean 'work'?" in printed.err


@pytest.mark.parametrize("command", ["check", "timeline", "render"])
def test_errors_as_json(plan: Path, capsys: pytest.CaptureFixture[str], command: str) -> None:
    plan.write_text(BROKEN, encoding="utf-8")
    assert run([command, "quay.yaml", "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert answer["passed"] is False
    assert [(found["line"], found["column"]) for found in answer["diagnostics"]] == [(2, 10), (6, 23)]
    assert list(Path().iterdir()) == [plan]


def test_timeline_shows_what_is_called_when(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["timeline", "quay.yaml"]) == 0
    out = capsys.readouterr().out
    assert "0:00  lead-in    0:06                      0:00.8 “First: March.”" in out
    assert "0:03.0 ♪ 3 × count-short" in out
    assert "0:06  work       0:20  March               0:06.0 ♪ count-long" in out


def test_timeline_json_has_the_contract_of_a_render(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["timeline", "quay.yaml", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["estimated"] is True
    assert (answer["cuetrack"], answer["frames"]) == (1, 28 * 48_000)
    assert [phase["kind"] for phase in answer["phases"]] == ["lead-in", "work", "rest"]


def test_new_writes_a_plan_without_a_fault_and_never_over_another(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["new", "monday.yaml"]) == 0
    assert run(["check", "monday.yaml"]) == 0
    assert run(["fmt", "--check", "monday.yaml"]) == 0
    assert capsys.readouterr().err == ""
    assert run(["new", "quay.yaml"]) == 2
    assert plan.read_text(encoding="utf-8") == PLAN
    assert "quay.yaml is there already; choose another name" in capsys.readouterr().err
    assert run(["new", "no/such/folder.yaml"]) == 1
    assert capsys.readouterr().err == (
        "error: the folder no/such could not be made: no does not exist; make that first\n"
    )


def test_a_starter_plan_is_whole_or_not_there(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def half(path: Path, text: str, **_: object) -> None:
        path.write_bytes(text.encode()[:100])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    monkeypatch.setattr(Path, "write_text", half)
    assert run(["new", "monday.yaml"]) == 1
    assert [path.name for path in Path().iterdir()] == ["quay.yaml"]


def test_schema_is_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema"]) == 0
    assert json.loads(capsys.readouterr().out)["$schema"].startswith("https://json-schema.org/")


def test_render_writes_the_track_and_its_timeline(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["render", "quay.yaml", "-o", "quay.flac", "--channels", "1", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["files"] == ["quay.flac", "quay.timeline.json"]
    assert (answer["sample_rate"], answer["frames"]) == (48_000, 28 * 48_000)
    timeline = json.loads(Path("quay.timeline.json").read_text(encoding="utf-8"))
    assert len(timeline["cues"]) == answer["mixes"][0]["cues"]
    assert sorted(path.name for path in Path().iterdir()) == ["quay.flac", "quay.timeline.json", "quay.yaml"]


def test_render_without_a_name_writes_wav_beside_the_plan(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["render", "quay.yaml", "--rate", "22050", "--channels", "1"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "quay.wav  0:28.0  22050 Hz  10 cues  -16.0 LUFS",
        "quay.timeline.json",
    ]


def test_render_in_the_level_asked_for(plan: Path) -> None:
    plan.write_text(PLAN.replace("work: 20s", "work: 20s, easier: Slowly"), encoding="utf-8")
    assert run(["render", "quay.yaml", "--level", "easier", "-o", "quay.flac"]) == 0
    timeline = json.loads(Path("quay.timeline.json").read_text(encoding="utf-8"))
    assert timeline["level"] == "easier"
    assert "First: March. Slowly." in [cue["text"] for cue in timeline["cues"]]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["render", "quay.yaml", "-o", "quay.yaml"], 2, "the ending '.yaml' of quay.yaml is no sound format"),
        (["render", "quay.yaml", "-o", "quay.mp4"], 2, "allowed: .wav, .flac, .mp3, .m4a, .ogg, .opus"),
        (["render", "quay.yaml", "-o", "quay.yaml/quay.wav"], 1, "quay.wav could not be written"),
        (["render", "quay.yaml", "--voice", "claer"], 2, "there is no voice 'claer'; did you mean 'clear'?"),
        (["render", "quay.yaml", "--rate", "1"], 2, "WAV is not written at 1 Hz; the nearest rate is 8000"),
        (["render", "quay.yaml", "-o", "q.mp3", "--rate", "96000"], 2, "the nearest rate is 48000"),
        (["check", "no.yaml"], 1, "no.yaml:1:1: error: no such file"),
        (["chekc"], 2, "No such command 'chekc'"),
        (["check"], 2, "Missing argument 'PLAN'"),
    ],
)
def test_wrong_calls(
    plan: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, said: str
) -> None:
    assert run(arguments) == code
    assert said in capsys.readouterr().err
    assert [path.name for path in Path().iterdir()] == ["quay.yaml"]


def test_a_target_that_is_the_plan_itself(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("quay.wav").symlink_to("quay.yaml")
    assert run(["render", "quay.yaml", "-o", "quay.wav"]) == 2
    assert capsys.readouterr().err == (
        "error: quay.wav is the plan itself; give the track another name with -o NAME.mp3\n"
    )
    assert plan.read_text(encoding="utf-8") == PLAN


def test_a_track_that_would_replace_the_plans_own_music(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A coach's `tide.yaml` with `tide.wav` beside it: the usual name of the track is that of the music."""
    monkeypatch.chdir(tmp_path)
    soundfile.write("tide.wav", np.full(8_000, 0.1), 8_000)
    music = Path("tide.wav").read_bytes()
    Path("tide.yaml").write_text(f"bed: {{file: tide.wav}}\n{PLAN}", encoding="utf-8")
    told = "tide.wav is a file that the plan uses; give the track another name with -o NAME.mp3"
    for call in (["render", "tide.yaml"], ["preview", "tide.yaml", "-o", "tide.wav"]):
        assert run(call) == 2
        assert told in capsys.readouterr().err
    assert Path("tide.wav").read_bytes() == music
    assert sorted(path.name for path in Path().iterdir()) == ["tide.wav", "tide.yaml"]


def test_a_track_whose_name_is_no_text(plan: Path) -> None:
    """Such names come out of old archives: bytes of Latin-1 where the system has UTF-8."""
    try:
        plan.rename(os.fsdecode(b"k\xe4lte.yaml"))
    except OSError:
        pytest.skip("no such names can be made here")
    command = [sys.executable, "-m", "cuetrack", "render", b"k\xe4lte.yaml"]
    done = subprocess.run(command, capture_output=True, check=False)
    assert done.returncode == 2
    assert b"has a name that is no text in UTF-8; give another one with -o" in done.stderr
    assert subprocess.run([*command, "-o", "cold.wav"], capture_output=True, check=False).returncode == 0


def test_a_timeline_that_would_replace_the_plan(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("quay.timeline.json").write_text(PLAN, encoding="utf-8")
    assert run(["render", "quay.timeline.json", "-o", "quay.wav"]) == 2
    assert "quay.timeline.json is the plan itself" in capsys.readouterr().err


def test_an_unknown_voice_in_the_plan_is_an_error_on_its_line(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan.write_text("voice: claer\n" + PLAN, encoding="utf-8")
    assert run(["check", "quay.yaml"]) == 1
    assert capsys.readouterr().err == (
        "quay.yaml:1:8: error: there is no voice 'claer'\n"
        "    voice: claer\n"
        "           ^^^^^\n"
        "    hint: did you mean 'clear'?\n"
    )


def test_opus_says_that_it_keeps_its_own_rate(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["render", "quay.yaml", "-o", "quay.opus", "--rate", "44100"]) == 0
    printed = capsys.readouterr()
    assert "48000 Hz" in printed.out
    assert printed.err == ("warning: Opus always runs at 48000 Hz, so the programme is made at 48000 Hz\n")


def test_check_with_sound_shows_how_each_cue_is_heard(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text("voice: system\nbed: {pulse: 120 bpm}\n" + PLAN, encoding="utf-8")
    assert run(["check", "quay.yaml", "--sound"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"class mix: -\d+\.\d LUFS, mastered by [+-]\d+\.\d dB to -16\.0 LUFS", out)
    assert re.search(r"0:\d\d\.\d +\d+\.\d LU +14 LU +-\d+\.\d dB .*“First: March.”", out)
    assert re.search(r"0:06\.0 +\d+\.\d dB +20 dB .*♪ count-long", out)
    assert run(["check", "quay.yaml", "--sound", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["loudness_lufs"] == -16.0
    assert len(answer["heard"]) == 10
    assert all(cue["over_bed_db"] >= cue["rule_db"] - 0.05 for cue in answer["heard"])


def test_check_with_sound_looks_at_the_mix_it_is_told(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head = "voice: system\nbed: {pulse: 120 bpm}\nmixes: {film: [bed, tone]}\n"
    plan.write_text(head + PLAN, encoding="utf-8")
    assert run(["check", "quay.yaml", "--sound", "--mix", "film"]) == 0
    film = capsys.readouterr().out
    assert re.search(r"film mix: .* to -23\.0 LUFS", film)
    assert "♪ count-long" in film
    assert "LU  14 LU" not in film
    assert run(["check", "quay.yaml", "--sound", "--mix", "ear"]) == 0
    ear = capsys.readouterr().out
    assert re.search(r"ear mix: .* to -18\.0 LUFS\nno cue has music under it", ear)


def test_a_mix_of_its_own_name_and_its_stems(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["render", "quay.yaml", "-o", "q.flac", "--mix", "film", "--mix", "ear", "--stems"]) == 0
    printed = capsys.readouterr()
    assert "the mix 'film' of this plan holds nothing, and is silent" in printed.err
    assert [line.split("  ")[0] for line in printed.out.splitlines()] == [
        "q.ear.flac",
        "q.film.flac",
        "q.ear.timeline.json",
        "q.ear.voice.wav",
        "q.ear.tones.wav",
        "q.film.timeline.json",
    ]


def test_a_fault_of_our_own_is_no_traceback(
    plan: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("made on purpose")

    monkeypatch.setattr("cuetrack.build.check", fail)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert run(["check", "quay.yaml"]) == 1
    err = capsys.readouterr().err
    assert err.startswith("error: a fault in cuetrack itself, not in your plan (ZeroDivisionError).\n")
    assert "Traceback" not in err
    report = next(tmp_path.glob("cuetrack-fault-*.txt"))
    assert "made on purpose" in report.read_text(encoding="utf-8")


@pytest.mark.parametrize("command", [None, *commands.commands])
def test_help_shows_an_example(command: str | None, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([command, "--help"] if command else ["--help"]) == 0
    lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
    assert lines[lines.index("Example:") + 1].startswith(f"cuetrack {command or 'new'}")


@pytest.mark.parametrize("command", [[], ["voices"]], ids=lambda words: " ".join(words) or "cuetrack")
def test_no_line_of_a_list_of_commands_is_cut_short(
    command: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert run([*command, "--help"]) == 0
    listed = capsys.readouterr().out.partition("Commands:")[2]
    assert listed
    assert "..." not in listed


# As real processes


def cuetrack_process(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "cuetrack", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, encoding="utf-8", check=False
    )


def test_version(tmp_path: Path) -> None:
    done = cuetrack_process("--version", folder=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"cuetrack, version {cuetrack.__version__}\n")


def test_a_check_as_a_process(plan: Path, tmp_path: Path) -> None:
    done = cuetrack_process("check", "quay.yaml", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "whole session    0:28  0:20" in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent the POSIX way")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_render_leaves_the_old_files_and_nothing_else(
    plan: Path, tmp_path: Path, sent: signal.Signals
) -> None:
    plan.write_text(PLAN.replace("work: 20s", "work: 5 h"), encoding="utf-8")
    for name in ("quay.mp3", "quay.timeline.json"):
        Path(name).write_text("old", encoding="utf-8")
    command = [sys.executable, "-m", "cuetrack", "render", "quay.yaml", "-o", "quay.mp3"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        interruptible(command), cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True
    ) as process:
        while not list(tmp_path.glob(".*.part")):  # it ends by itself at the latest when all is written
            assert process.poll() is None
            time.sleep(0.02)
        process.send_signal(sent)
        _, err = process.communicate(timeout=60)
    # Python itself ends by the signal if that came while it was loading some module: 130 to a shell, too.
    assert process.returncode in {130, -signal.SIGINT}
    assert err.strip() == "Stopped. Every file is as it was, or whole."
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["quay.mp3", "quay.timeline.json", "quay.yaml"]
    assert Path("quay.mp3").read_text(encoding="utf-8") == "old"
