"""`cuetrack series`, and `--day` of the commands that take a plan, as their user calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from cuetrack.cli.commands import run

SAMPLE = Path(__file__).parents[2] / "samples" / "winter"
PLAN = """session: Quay
lead-in: 12s
parts:
  - part: Main
    rest: 20s
    steps:
      - {move: Oar squat, work: 60s, tags: [legs, squat], harder: Deeper.}
"""
SERIES = """series: Winter
sessions:
  - {date: 2026-11-30, plan: quay.yaml}
  - {date: 2026-12-01, plan: quay.yaml, level: harder}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("quay.yaml").write_text(PLAN, encoding="utf-8")
    Path("winter.yaml").write_text(SERIES, encoding="utf-8")
    return tmp_path


def test_series_prints_days_weeks_and_findings(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["series", "winter.yaml"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    # 12 s, 60 s of work and 2 s after it; 60 s on two of seven days: mean 120/7, sample deviation
    # 60 · √(2/7 · 5/7 · 7/6), monotony 2/7 / √(10/42) = 0.586.
    assert printed.out.splitlines() == [
        "Winter",
        "day  date        plan       session  level   length  work  regions",
        "  1  2026-11-30  quay.yaml  Quay               1:14  1:00  legs",
        "  2  2026-12-01  quay.yaml  Quay     harder    1:14  1:00  legs",
        "",
        "week  from        to          sessions  length  work  change  monotony",
        "   1  2026-11-30  2026-12-06         2    2:28  2:00               0.6",
        "",
        "winter.yaml:4:12: following-days: legs on 2026-11-30 and on 2026-12-01, the day after",
        "    another region, an easy session, or a day in between lets them recover",
        "    source: ACSM: resistance training of a muscle group on days that do not follow each other, "
        "48 hours between (Garber and others 2011; quoted second-hand)",
        "",
        "These are suggestions from a plan alone; none of this is medical advice.",
    ]


def test_series_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["series", "winter.yaml", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["passed"] is True
    assert [(day["day"], day["date"], day["work_seconds"]) for day in answer["days"]] == [
        (1, "2026-11-30", 60),
        (2, "2026-12-01", 60),
    ]
    assert answer["days"][0]["regions"] == {"legs": 60}
    assert [(week["sessions"], week["work_seconds"], week["monotony"]) for week in answer["weeks"]] == [
        (2, 120, 0.586)
    ]
    assert [(found["name"], found["line"]) for found in answer["findings"]] == [("following-days", 4)]
    assert "medical advice" in answer["note"]


def test_every_fault_of_every_plan_is_told_once(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("quay.yaml").write_text(PLAN.replace("work: 60s", "wrok: 60s"), encoding="utf-8")
    lines = "  - {date: 2026-12-02, plan: quey.yaml}\n  - {date: 2026-12-03, plan: ../quay.yaml}\n"
    Path("winter.yaml").write_text(SERIES + lines, encoding="utf-8")
    assert run(["series", "winter.yaml"]) == 1
    told = capsys.readouterr().err
    assert told.count("unknown key 'wrok'") == 1
    assert "winter.yaml:5:30: error: there is no file 'quey.yaml'" in told
    assert "did you mean 'quay.yaml'?" in told
    assert "winter.yaml:6:30: error: '../quay.yaml' lies outside the plan's folder" in told


def test_a_day_is_shown_and_checked(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["timeline", "winter.yaml", "--day", "2"]) == 0
    shown = capsys.readouterr().out
    assert "“Day two of two.”" in shown
    assert "Deeper." in shown
    assert run(["timeline", "winter.yaml", "--day", "2026-11-30"]) == 0
    assert "“Day one of two.”" in capsys.readouterr().out
    assert run(["check", "winter.yaml", "--day", "1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["work_seconds"] == 60
    assert run(["check", "winter.yaml", "--day", "3"]) == 2
    assert "'Winter' has 2 days, from 2026-11-30 to 2026-12-01" in capsys.readouterr().err


def test_a_day_is_reviewed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = "  - {date: 2026-12-07, plan: quay.yaml, level: easier, length: '1:14'}\n"
    Path("winter.yaml").write_text(SERIES + lines, encoding="utf-8")
    Path("quay.yaml").write_text(PLAN.replace("Deeper.", "{work: 75s}"), encoding="utf-8")
    work = {}
    for day in ("1", "2", "2026-12-07"):
        assert run(["review", "winter.yaml", "--day", day, "--json"]) == 0
        work[day] = json.loads(capsys.readouterr().out)["work_seconds"]
    assert work == {"1": 60, "2": 75, "2026-12-07": 60}
    assert run(["review", "winter.yaml", "--day", "4"]) == 2
    assert "no day '4'" in capsys.readouterr().err
    assert run(["review", "winter.yaml"]) == 1
    assert "this is a series, not a plan" in capsys.readouterr().err


def test_a_level_of_the_call_wins_over_that_of_the_day(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["timeline", "winter.yaml", "--day", "2", "--level", "standard"]) == 0
    assert "Deeper." not in capsys.readouterr().out


def test_a_series_without_a_day_is_no_plan(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "winter.yaml"]) == 1
    told = capsys.readouterr().err
    assert "winter.yaml:1:1: error: this is a series, not a plan" in told
    assert (
        "hint: name one of its plans, or a day, as in `--day 1`; `cuetrack series` looks at all of them"
        in told
    )
    assert told.count("error:") == 1


@pytest.mark.parametrize("call", [["series", "quay.yaml"], ["review", "quay.yaml", "--day", "1"]])
def test_a_plan_is_no_series(folder: Path, capsys: pytest.CaptureFixture[str], call: list[str]) -> None:
    assert run(call) == 1
    told = capsys.readouterr().err
    assert told.startswith("quay.yaml:3:1: error: this is a plan, not a series")
    assert "hint: `cuetrack check` looks at a plan, without `--day`; a series lists dated" in told
    assert told.count("error:") == 1


def test_render_names_the_track_by_series_and_day(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from cuetrack import build
    from cuetrack.errors import UsageError

    asked: dict[str, object] = {}

    def render(plan: Path, target: Path, **options: object) -> None:
        asked.update(plan=plan, target=target, day=options["day"])
        raise UsageError("far enough")

    monkeypatch.setattr(build, "render", render)
    assert run(["render", "winter.yaml", "--day", "2026-12-01"]) == 2
    assert (asked["plan"], asked["target"]) == (Path("quay.yaml"), Path("winter-day-2.wav"))
    assert getattr(asked["day"], "number", None) == 2
    assert run(["render", "quay.yaml"]) == 2
    assert (asked["target"], asked["day"]) == (Path("quay.wav"), None)


@pytest.mark.parametrize("command", ["preview", "sheet"])
def test_other_files_are_named_by_series_and_day_too(
    command: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from cuetrack import build_preview, build_sheet
    from cuetrack.errors import UsageError

    asked: list[Path] = []

    def target_told(plan: Path, target: Path, **_: object) -> None:
        asked.append(target)
        raise UsageError("far enough")

    monkeypatch.setattr(build_preview, "refuse_target", target_told)
    monkeypatch.setattr(build_sheet, "write_sheet", target_told)
    assert run([command, "winter.yaml", "--day", "2"]) == 2
    assert run([command, "quay.yaml"]) == 2
    ending = {"preview": "preview.wav", "sheet": "sheet.pdf"}[command]
    assert asked == [Path(f"winter-day-2.{ending}"), Path(f"quay.{ending}")]


def test_the_sample_series_has_nothing_to_suggest(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["series", str(SAMPLE / "winter.yaml")]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert "nothing to suggest" in printed.out
    assert run(["timeline", str(SAMPLE / "winter.yaml"), "--day", "3"]) == 0
    shown = capsys.readouterr().out
    assert "“Day three of eleven.”" in shown
    assert "“Next on the quay: Arm" in shown  # the house's own words


@pytest.mark.parametrize("document", ["plan", "house", "series"])
def test_schemas(document: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", "--of", document]) == 0
    schema = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(schema)
    keys = {"plan": "parts", "house": "phrases", "series": "sessions"}
    assert keys[document] in schema["properties"]
