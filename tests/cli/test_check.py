"""`cuetrack check` shows what was chosen of times and rounds that a plan leaves open, and why."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cuetrack.cli.commands import run

# Besides the rests: 8 s before, 60 s of work a round, 2 s after.
PLAN = """session: Quay
length: 4:20
lead-in: 8s
accepted: {warm-up: a test, cool-down: a test}
parts:
  - part: Circuit
    rounds: 2
    flex: {rounds: 2..4}
    rest: 16s..40s
    steps:
      - {move: Row, work: 30s, rest: 4s..20s}
      - move: Press
        setup: One foot on the band, hands at your shoulders, and look along the quay.
        work: 30s
"""


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = Path("quay.yaml")
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_what_was_chosen_and_why(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two rounds last at most 3 min 30 s; three have 70 s for three rests of Row and two of the part's."""
    assert run(["check", "quay.yaml"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert printed.out.splitlines()[:6] == [
        "Quay",
        "part           length  work  rest  talk",
        "Circuit          4:10  3:00  1:10",
        "whole session    4:20  3:00  1:10",
        "rounds of 'Circuit': 3, to keep the promise (2 to 4, usually 2)",
        "rest after 'Row': 11 s, 3 times, to keep the promise "
        "(4 s to 20 s, usually 12 s, 11 s or more for what is called)",
    ]


def test_what_was_chosen_as_json(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "quay.yaml", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["length_seconds"] == 260
    assert answer["chosen_rounds"] == [
        {"part": "Circuit", "line": 8, "rounds": 3, "fewest": 2, "most": 4, "usual": 2}
    ]
    own, after_each = answer["chosen"]
    assert (own["what"], own["line"]) == ("rest after 'Row'", 11)
    assert after_each["what"] == "rest after a move of 'Circuit'"
    assert sum(own["seconds"] + after_each["seconds"]) == 70
    assert min(own["seconds"]) >= own["needed_seconds"] > own["shortest_seconds"] == 4


def test_a_plan_that_leaves_nothing_open_has_nothing_chosen(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fixed = PLAN.replace("length: 4:20\n", "").replace("4s..20s", "20s").replace("16s..40s", "20s")
    plan.write_text(fixed, encoding="utf-8")
    assert run(["check", "quay.yaml", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["chosen"], answer["chosen_rounds"]) == ([], [])


def test_a_time_that_takes_up_a_fraction_is_told_to_a_tenth(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """144/17 s of work: the talk takes the rest, 298/17 s, which nobody reads."""
    plan.write_text(
        "session: Quay\nlength: 0:34\nlead-in: 8s\nparts:\n  - part: Main\n    steps:\n"
        "      - {move: Shuttle, work: 72/8.5 s}\n      - {talk: 10s..30s}\n",
        encoding="utf-8",
    )
    assert run(["check", "quay.yaml"]) == 0
    told = capsys.readouterr().out
    assert "talk of 'Main': about 17.5 s, to keep the promise (10 s to 30 s, usually 20 s)" in told
