"""`cuetrack batch` as a club calls it: what it prints, where, and the exit code."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from cuetrack.batch.lock import folder_locked
from cuetrack.cli.commands import run
from tests.helpers.interrupts import interruptible
from tests.helpers.many_plans import write_plans


@pytest.fixture
def plans(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_plans(Path("plans"), 3)
    return Path("plans")


def test_a_folder_is_made_and_summed_up(plans: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["batch", "plans", "--processes", "2"]) == 0
    printed = capsys.readouterr()
    rows = [line.split() for line in printed.out.splitlines()]
    assert rows[0] == ["plan", "made", "kept", "failed", "sound", "size", "took"]
    assert [row[:2] for row in rows[1:5]] == [[f"set-0{n}.yaml", "1"] for n in (1, 2, 3)] + [["all", "3"]]
    assert rows[4][2] == "0:24"  # three times 3 + 4 + 1 s
    assert rows[5] == ["in", str(Path("plans/tracks"))]
    assert len([line for line in printed.err.splitlines() if " of 3  made  set-0" in line]) == 3
    assert Path("plans/tracks/set-03.wav").is_file()


def test_changed_makes_only_what_is_stale(plans: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call = ["batch", "plans", "-o", "out", "--processes", "1", "--changed"]
    assert run(call) == 0
    (plans / "set-02.yaml").write_text((plans / "set-02.yaml").read_text("utf-8") + "coach: Wren\n", "utf-8")
    capsys.readouterr()
    assert run([*call, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["passed"]
    assert [(one["track"], one["result"], one["why"]) for one in told["tracks"]] == [
        ("set-01.wav", "kept", None),
        ("set-02.wav", "made", "../plans/set-02.yaml has changed"),
        ("set-03.wav", "kept", None),
    ]
    assert told["tracks"][1]["files"] == ["set-02.wav", "set-02.timeline.json"]
    assert told["tracks"][1]["bytes"] == sum(
        Path("out", one).stat().st_size for one in told["tracks"][1]["files"]
    )


def test_a_dry_run_says_why_and_writes_nothing(plans: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["batch", "plans", "-o", "out", "--dry-run"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        *(f"set-0{n}.wav: it is new" for n in (1, 2, 3)),
        "3 of 3 tracks would be made",
    ]
    assert not Path("out").exists()
    assert run(["batch", "plans", "-o", "out", "--dry-run", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [one["why"] for one in told["tracks"]] == ["it is new"] * 3
    assert (told["passed"], told["diagnostics"]) == (True, [])


def test_a_dry_run_tells_each_mistake_once(plans: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (plans / "set-02.yaml").write_text("session: Quay\nparts: 3\n", encoding="utf-8")
    (plans / "set-04.yaml").symlink_to("nowhere.yaml")
    versions = ["--level", "all", "--format", "wav", "--format", "mp3"]
    call = ["batch", "plans", "-o", "out", "--dry-run", *versions]
    assert run(call) == 1
    printed = capsys.readouterr()
    assert "24 of 24 tracks would be made" in printed.out
    assert printed.err.count("set-02.yaml:2:8: error") == 1
    assert printed.err.count("set-04.yaml") == 1
    assert run([*call, "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert not told["passed"]
    assert [one["severity"] for one in told["diagnostics"]] == ["error"] * 2
    assert not Path("out").exists()


def test_a_dry_run_of_what_is_made_looks_at_no_plan_again(
    plans: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    call = ["batch", "plans", "-o", "out", "--changed", "--processes", "1"]
    assert run(call) == 0
    monkeypatch.setattr("cuetrack.build_batch.compile_plan", None)
    assert run([*call, "--dry-run"]) == 0


def test_what_is_wrong_is_told_at_the_end_with_its_line(
    plans: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (plans / "set-02.yaml").write_text("session: Quay\nparts: 3\n", encoding="utf-8")
    assert run(["batch", "plans", "--processes", "1"]) == 1
    printed = capsys.readouterr()
    assert "set-02.yaml:2:8: error" in printed.err
    assert "Traceback" not in printed.err
    assert Path("plans/tracks/set-03.wav").is_file()
    assert run(["batch", "plans", "--processes", "1", "--changed", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert [one["result"] for one in told["tracks"]] == ["kept", "failed", "kept"]
    assert told["tracks"][1]["diagnostics"][0]["line"] == 2


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["nowhere"], 2, "nothing at"),
        (["plans", "--format", "xyz"], 2, "xyz"),
        (["plans", "--voice", "cleer"], 2, "clear"),
        (["plans", "--with", "sheets"], 2, "sheet"),
        (["plans", "--processes", "0"], 2, "0"),
        (["plans", "-o", "plans/set-01.yaml"], 1, "set-01.yaml"),
        (["plans", "--cluster", "no-address"], 3, "there is no cluster at no-address"),
    ],
)
def test_a_wrong_call_is_told_and_writes_nothing(
    arguments: list[str], code: int, said: str, plans: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["batch", *arguments]) == code
    printed = capsys.readouterr()
    assert said in printed.err
    assert "Traceback" not in printed.err
    assert not list(Path().rglob("*.wav"))


def test_phrases_go_into_the_cache_that_is_named_and_papers_beside_the_tracks(plans: Path) -> None:
    plan = plans / "set-02.yaml"
    text = (
        plan.read_text("utf-8")
        .replace("announce: off", "announce: name")
        .replace("lead-in: 3s", "lead-in: 9s")
    )
    plan.write_text(f"voice: system\n{text}", encoding="utf-8")
    call = ["batch", "plans", "-o", "out", "--speech-cache", "spoken", "--with", "captions,chapters"]
    assert run([*call, "--processes", "2"]) == 0
    assert list(Path("spoken").rglob("*.clip"))
    assert "March" in Path("out/set-02.captions.vtt").read_text("utf-8")
    assert Path("out/set-01.chapters.txt").is_file()
    assert Path("out/set-03.index.html").is_file()


def test_two_runs_into_one_folder_do_not_meet(plans: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("out").mkdir()
    with folder_locked(Path("out")):
        assert run(["batch", "plans", "-o", "out"]) == 1
    printed = capsys.readouterr()
    assert "another batch writes into it" in printed.err
    assert not list(Path("out").glob("*.wav"))


@pytest.mark.skipif(os.name == "nt", reason="an interrupt reaches a process group on POSIX")
def test_an_interrupt_leaves_whole_files_and_the_same_call_goes_on(plans: Path) -> None:
    write_plans(plans, 30, rounds=20)
    command = [sys.executable, "-m", "cuetrack", "batch", "plans", "-o", "out", "--processes", "2"]
    with subprocess.Popen(
        interruptible(command),
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        assert process.stderr is not None
        assert "1 of 30" in process.stderr.readline()
        os.killpg(process.pid, signal.SIGINT)
        _, told = process.communicate(timeout=120)
    assert process.returncode == 130
    assert "Traceback" not in told
    assert "Stopped" in told
    assert not list(Path("out").glob("*.part"))
    again = subprocess.run([*command, "--json"], capture_output=True, check=True, timeout=300)
    found = [one["result"] for one in json.loads(again.stdout)["tracks"]]
    assert len(found) == 30
    assert {"made", "kept"} == set(found)
