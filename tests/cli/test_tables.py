"""`cuetrack import`, `export` and `fmt` as their user calls them."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from cuetrack.cli.commands import run

TABLE = "Übung;On;Off;Notizen\nRudern;20;10;ruhig\nPause;30;;\n"
PLAN = "session: Quay\nparts:\n  - part: Main\n    steps:\n      - {move: Row, work:  20s}  # ours\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("monday.csv").write_text(TABLE, encoding="utf-8")
    Path("quay.yaml").write_text(PLAN, encoding="utf-8")
    return tmp_path


def test_import_tells_what_it_wrote_and_what_is_odd(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    columns = ("--column", "work (s)=On", "--column", "rest (s)=Off")
    assert run(["import", "monday.csv", "-o", "monday.yaml", *columns]) == 0
    printed = capsys.readouterr()
    assert (
        printed.out
        == "monday.yaml written: 1 part, 2 moves, 0 rests and talks. Next: cuetrack check monday.yaml\n"
    )
    assert printed.err.splitlines()[0] == (
        "monday.csv:3:1: warning: row 3, column A (Übung): 'Pause' is read as a move"
    )
    assert Path("monday.yaml").read_text(encoding="utf-8").partition("session: ")[2] == (
        "monday\nparts:\n  - part: monday\n    steps:\n      - move: Rudern\n        work: 20 s\n"
        "        rest: 10 s\n        notes: ruhig\n      - move: Pause\n        work: 30 s\n"
    )
    assert run(["check", "monday.yaml"]) == 0


def test_import_reports_every_row_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["import", "monday.csv", "-o", "monday.yaml", "--json"]) == 1
    printed = capsys.readouterr()
    answer = json.loads(printed.out)
    assert answer["passed"] is False
    assert [(found["line"], found["severity"]) for found in answer["diagnostics"]] == [
        (2, "error"),
        (3, "error"),
    ]
    assert "row 2, column A (Übung): the move 'Rudern' has no working time" in printed.err
    assert not Path("monday.yaml").exists()


def test_import_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["import", "monday.csv", "-o", "new.yaml", "--column", "work (s)=On", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["passed"], answer["plan"]) == (True, "new.yaml")
    assert (answer["parts"], answer["moves"], answer["other_steps"]) == (1, 2, 0)
    assert {found["severity"] for found in answer["diagnostics"]} == {"warning"}


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["import", "monday.csv"], 2, "Missing option '-o'"),
        (["import", "monday.csv", "-o", "quay.yaml"], 2, "quay.yaml is there already"),
        (["import", "monday.csv", "-o", "new.yaml", "--column", "wrok=On"], 2, "did you mean 'work'"),
        (["import", "monday.csv", "-o", "new.yaml", "--column", "work=Out"], 2, "no column is headed"),
        (["import", "monday.csv", "-o", "new.yaml", "--sheet", "One"], 2, "--sheet is for XLSX"),
        (["import", "monday.ods", "-o", "new.yaml"], 2, "a table ends with .csv or .xlsx"),
        (["import", "none.csv", "-o", "new.yaml"], 1, "no such file"),
        (["export", "quay.yaml", "-o", "monday.csv"], 2, "monday.csv is there already"),
        (["export", "quay.yaml", "-o", "quay.txt"], 2, "a table ends with .csv or .xlsx"),
        (["export", "none.yaml", "-o", "none.csv"], 1, "no such file"),
        (["fmt", "none.yaml"], 1, "no such file"),
        (["fmt", "--check", "monday.csv"], 1, "error:"),
    ],
)
def test_what_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, said: str
) -> None:
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert run(arguments) == code
    assert said in capsys.readouterr().err
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize(
    "arguments", [["export", "quay.yaml", "-o", "a.xlsx"], ["import", "b.xlsx", "-o", "b.yaml"]]
)
def test_what_this_machine_lacks(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    Path("b.xlsx").write_bytes(b"PK")
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert run(arguments) == 3
    assert 'CSV needs nothing; python -m pip install ".[tables]"' in capsys.readouterr().err
    assert not Path("a.xlsx").exists()


def test_export_writes_a_table_and_tells_what_it_cannot_hold(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["export", "quay.yaml", "-o", "quay.csv"]) == 0
    printed = capsys.readouterr()
    assert printed.out == "quay.csv written. Back to a plan: cuetrack import quay.csv -o NAME.yaml\n"
    assert printed.err == (
        "warning: a table holds no comments; the plan has one\n    hint: keep the plan as well\n"
    )
    assert Path("quay.csv").read_text(encoding="utf-8-sig").splitlines() == [
        "kind,session,part,move,work,rest",
        "session,Quay,,,,",
        "part,,Main,,,",
        "move,,Main,Row,20 s,",
    ]
    assert run(["export", "quay.yaml", "-o", "quay.csv", "--replace", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["passed"], answer["table"], len(answer["diagnostics"])) == (True, "quay.csv", 1)


def test_fmt_checks_and_writes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fmt", "--check", "quay.yaml"]) == 1
    assert run(["fmt", "quay.yaml"]) == 0
    assert run(["fmt", "--check", "quay.yaml"]) == 0
    assert run(["fmt", "quay.yaml"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "quay.yaml is not tidy; run: cuetrack fmt quay.yaml",
        "quay.yaml written in the tidy form.",
        "quay.yaml is tidy.",
        "quay.yaml was tidy already.",
    ]
