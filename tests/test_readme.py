"""What README.md shows is what the program prints, and its commands are there."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
import soundfile

from cuetrack.cli.commands import commands, run
from tests import readme
from tests.helpers.many_plans import write_plans


def test_the_plan_keeps_its_promise(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan, _, _ = readme.shown()
    path = tmp_path / "session.yaml"
    path.write_text(plan, encoding="utf-8")
    assert run(["check", str(path)]) == 0
    assert capsys.readouterr().err == ""


def test_the_examples_are_what_is_printed() -> None:
    _, timeline, misfit = readme.shown()
    assert (timeline, misfit) == readme.made()
    assert len(timeline.splitlines()) > 10
    assert "more are needed" in misfit


def test_every_command_is_there() -> None:
    named = set(re.findall(r"cuetrack ([a-z]+)", readme.README.read_text(encoding="utf-8")))
    assert named == set(commands.commands)


# What a word in capitals stands for.
STANDS_FOR = {
    "PLAN": "session.yaml",
    "SERIES": "samples/winter/winter.yaml",
    "AUDIO": "session.mp3",
    "RECORDING": "tuesday.mov",
    "FOLDER": "plans",
    "TABLE": "monday.csv",
    "NAME.mp3": "session.mp3",
}
# Those that need what another test brings: a scheduler (tests/batch/test_cluster.py), a new environment (CI).
ELSEWHERE = (["dask"], ["cuetrack", "batch", "/club/plans"], ["python", "-m", "pip"])


@pytest.mark.skipif(find_spec("piper") is None, reason="the extra `natural` is not installed")
def test_every_command_does_what_it_is_shown_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(readme.ROOT / "samples", "samples")
    plan, _, _ = readme.shown()
    shown = readme.commands(readme.README.read_text(encoding="utf-8"))
    assert len(shown) > 50
    for words in shown:
        if words[0] != "cuetrack" or any(words[: len(some)] == some for some in ELSEWHERE):
            continue
        arguments = [STANDS_FOR.get(word, word) for word in words[1:]]
        bring(arguments, plan)
        if arguments[:2] == ["voices", "script"]:
            assert run([*arguments, "--json"]) == 0
            record(Path("recordings"), json.loads(capsys.readouterr().out))
        if "COMMAND" in arguments:
            calls = [[name, *arguments[1:]] for name in commands.commands]
        else:
            calls = [arguments[: arguments.index(">")] if ">" in arguments else arguments]
        for call in calls:
            code = run(call)
            printed = capsys.readouterr()
            assert code == 0, (call, printed.err)
            assert printed.out or printed.err, call
        if "-o" in arguments:
            target = Path(arguments[arguments.index("-o") + 1])
            assert list(target.parent.glob(f"{target.stem}*")), arguments


def bring(arguments: Sequence[str], plan: str) -> None:
    """What a coach has at hand before a command: the plan of the README, a film, a table, recordings."""
    session = Path("session.yaml")
    if arguments[0] in ("new", "import", "export"):  # which replace nothing
        Path(arguments[-1]).unlink(missing_ok=True)
    elif not session.exists() or session.read_text(encoding="utf-8") != plan:
        session.write_text(plan, encoding="utf-8")
    if "plans" in arguments:
        write_plans(Path("plans"), 2)
    if "tuesday.mov" in arguments and not Path("tuesday.mov").exists():
        film(Path("quay/session.mp3"), Path("tuesday.mov"))
    if arguments[0] == "import":
        assert run(["export", "samples/slipway-intervals.yaml", "-o", arguments[1]]) == 0


def film(track: Path, target: Path) -> None:
    """The track as a camera hears it that was started 7 s before: softer, with noise, as a film's sound."""
    program = imageio_ffmpeg.get_ffmpeg_exe()
    heard = "[0:a]adelay=7000:all=1,volume=0.3[track];anoisesrc=a=0.004:r=48000:seed=1[room]"
    both = f"{heard};[track][room]amix=2:duration=first"
    call = [program, "-v", "error", "-i", track, "-filter_complex", both, "-c:a", "aac", "-vn", target]
    subprocess.run(call, check=True)


def record(folder: Path, lines: Sequence[Mapping[str, str]]) -> None:
    """Each phrase as a coach's clip: half a second of sound with some silence around it."""
    folder.mkdir()
    silence, chance = np.zeros(9_600), np.random.default_rng(7)
    for line in lines:
        sound = (0.3 * chance.standard_normal(14_400)).clip(-0.9, 0.9)
        soundfile.write(folder / line["file"], np.concatenate([silence, sound, silence]), 48_000)


def test_every_report_and_benchmark_says_what_it_does() -> None:
    """They take minutes to hours: here they are asked for their help only."""
    shown: list[list[str]] = []
    for page in (readme.README, readme.DEVELOPERS):
        shown += readme.commands(page.read_text(encoding="utf-8"))
    programs = {
        tuple(words[:3]) for words in shown if re.search(r"tests.(benchmarks|reports|fuzz)", " ".join(words))
    }
    assert len(programs) > 8
    for words in programs:
        call = [sys.executable, *words[1:], "--help"]
        told = subprocess.run(call, cwd=readme.ROOT, capture_output=True, text=True, timeout=120)
        assert told.returncode == 0, told.stderr
        assert "usage:" in told.stdout, words


def test_the_set_up_commands_are_one_line_each() -> None:
    assert readme.setup_command("install").startswith("python3 -m venv .venv && ")
    assert readme.setup_command("test").endswith("-m pytest")
