"""What README.md shows is what the program prints, and its commands are there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cuetrack.cli.commands import commands, run
from tests import readme


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


def test_the_set_up_commands_are_one_line_each() -> None:
    assert readme.setup_command("install").startswith("python3 -m venv .venv && ")
    assert readme.setup_command("test").endswith("-m pytest")
