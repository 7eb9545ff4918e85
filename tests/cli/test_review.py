"""`cuetrack review` as its user calls it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cuetrack.cli.commands import run

PLAN = """session: Quay
lead-in: 6s
accepted: {warm-up: warmed up on the stairs}
parts:
  - part: Main
    steps:
      - {move: March, work: 20s, rest: 10s}
      - {move: Oar reach, sides: left, work: 40s}
"""


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = Path("quay.yaml")
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_review_prints_totals_work_energy_and_findings(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["review", "quay.yaml"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    # 60 s at 3.5 MET and 10 s at 1.3 MET: 3.7167 MET min, times 3.5 · 70 / 200 = 4.55 kcal.
    assert printed.out.splitlines() == [
        "Quay",
        "part           length  work  rest  talk  work:rest",
        "Main             1:10  1:00  0:10            1:0.2",
        "whole session    1:18  1:00  0:10            1:0.2",
        "",
        "work by      turns  work  left  right",
        "region",
        "  legs           1  0:20",
        "pattern",
        "  step           1  0:20",
        "move",
        "  March          1  0:20",
        "  Oar reach      1  0:40  0:40",
        "",
        "guessed from names (`tags: [legs, squat]` on a move says it):",
        "  March",
        "no region known: Oar reach",
        "",
        "energy: about 5 kcal at 70 kg, use at rest included "
        "(MET · 3.5 · kg / 200 a minute; 4 by MET · kg · h);",
        "people differ a lot, and the activities are guessed from names and tags",
        "     1:00   3.5 MET  calisthenics, light or moderate (02030)",
        "     0:10   1.3 MET  standing quietly (07040)",
        "  source: 2011 Compendium of Physical Activities (Ainsworth et al.)",
        "",
        "quay.yaml:8:34: sides: 'Oar reach': left 40 s, right 0 s",
        "    give both sides the same time: `sides: both`",
        "    source: common practice, no source",
        "quay.yaml:5:11: cool-down: no part is called a cool-down",
        "    give 5 to 10 minutes to one, or accept this if another part is the cool-down",
        "    source: ACSM: 5 to 10 minutes each of warm-up and cool-down (quoted second-hand)",
        "accepted: warm-up (warmed up on the stairs)",
        "",
        "These are suggestions from a plan alone; none of this is medical advice.",
    ]


def test_review_as_json(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", "quay.yaml", "--json", "--weight", "140"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["passed"] is True
    assert (answer["work_seconds"], answer["rest_seconds"], answer["rest_per_work"]) == (60, 10, 0.167)
    assert answer["regions"] == [
        {"name": "legs", "turns": 1, "work_seconds": 20, "left_seconds": 0, "right_seconds": 0}
    ]
    assert answer["energy"]["kcal"] == 9.1
    assert answer["energy"]["weight_kg"] == 140
    found = {finding["name"]: finding for finding in answer["findings"]}
    assert set(found) == {"warm-up", "sides", "cool-down"}
    assert found["warm-up"]["accepted"] == "warmed up on the stairs"
    assert (found["sides"]["line"], found["sides"]["accepted"]) == (8, None)
    assert answer["diagnostics"] == []
    assert "medical advice" in answer["note"]


def test_warnings_go_to_stderr(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text(PLAN.replace("{warm-up:", "{warmup:"), encoding="utf-8")
    assert run(["review", "quay.yaml"]) == 0
    printed = capsys.readouterr()
    assert "no part is called a warm-up" in printed.out
    assert printed.err.startswith("quay.yaml:3:11: warning: no finding is called 'warmup'\n")
    assert "did you mean 'warm-up'?" in printed.err


def test_errors_of_the_plan(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text(PLAN.replace("work: 20s", "wrok: 20s"), encoding="utf-8")
    assert run(["review", "quay.yaml", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["passed"] is False


@pytest.mark.parametrize("weight", ["19", "301", "much", "nan"])
def test_a_weight_that_cannot_be(plan: Path, capsys: pytest.CaptureFixture[str], weight: str) -> None:
    assert run(["review", "quay.yaml", "--weight", weight]) == 2
    assert "--weight" in capsys.readouterr().err


def test_a_session_without_a_move_can_be_reviewed(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text("session: Talk\nparts:\n  - part: Welcome\n    steps: [{talk: 30s}]\n", encoding="utf-8")
    assert run(["review", "quay.yaml"]) == 0
    assert "whole session    0:35" in capsys.readouterr().out
