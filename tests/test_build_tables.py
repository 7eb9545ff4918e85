"""Tables and tidy plans as files: whole or not at all, nothing replaced that nobody said, nothing lost."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from cuetrack import build_tables
from cuetrack.build_tables import export_plan, import_table, read_table, tidy_plan
from cuetrack.errors import PlanError, TidyError, UsageError, WriteError
from cuetrack.plan.text import read_plan
from cuetrack.tables.sheet import MAX_TABLE_BYTES
from tests.tables.helpers import workbook

TABLE = "part,move,work\nMain,Row,20s\n"
UNTIDY = "session:  Quay\nparts: [{part: Main, steps: [{move: Row, work: 20s}]}]  # ours\n"
TIDY = "session:  Quay\nparts: [{part: Main, steps: [{move: Row, work: 20s}]}]  # ours\n"
TIDY = """\
session: Quay
# ours
parts:
  - part: Main
    steps:
      - {move: Row, work: 20s}
"""
TIDY = "session: Quay\n# ours\nparts:\n  - part: Main\n    steps:\n      - move: Row\n        work: 20s\n"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "Winter on the quay.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "quay.yaml"
    path.write_text(UNTIDY, encoding="utf-8")
    return path


def test_a_table_becomes_a_plan_with_the_cautions(table: Path, tmp_path: Path) -> None:
    moved = import_table(table, tmp_path / "plan.yaml")
    assert (tmp_path / "plan.yaml").read_text(encoding="utf-8") == (
        "# Made from Winter on the quay.csv.\n"
        "# A cue track is no medical advice. Warm up; stop at pain or dizziness; breathe through holds;\n"
        "# follow local rules and licensed professionals; keep the playback level safe.\n"
        "session: Winter on the quay\n"
        "parts:\n  - part: Main\n    steps:\n      - move: Row\n        work: 20 s\n"
    )
    assert read_plan(tmp_path / "plan.yaml") == moved.session
    assert tidy_plan(tmp_path / "plan.yaml", only_check=True) is False


def test_nothing_is_replaced_that_nobody_said(table: Path, plan: Path) -> None:
    before = (table.read_bytes(), plan.read_bytes())
    with pytest.raises(
        UsageError, match=r"quay\.yaml is there already; choose another name, or say --replace"
    ):
        import_table(table, plan)
    with pytest.raises(UsageError, match="is there already"):
        export_plan(plan, table)
    with pytest.raises(UsageError, match=r"has the name of a table; a plan ends with \.yaml"):
        import_table(table, table, replace=True)
    with pytest.raises(UsageError, match=r"quay\.yaml ends with \.yaml; a table ends with \.csv or \.xlsx"):
        export_plan(plan, plan, replace=True)
    assert (table.read_bytes(), plan.read_bytes()) == before
    import_table(table, plan, replace=True)
    assert read_plan(plan).session == "Winter on the quay"


def test_where_a_row_cannot_be_read_nothing_is_written(table: Path, plan: Path, tmp_path: Path) -> None:
    before = sorted(tmp_path.iterdir())
    table.write_text(TABLE + ",Press,soon\n,Squat,\n", encoding="utf-8")
    with pytest.raises(PlanError) as raised:
        import_table(table, plan, replace=True)
    assert [found.message.partition(":")[0] for found in raised.value.diagnostics] == [
        "row 3, column C (work)",
        "row 4, column B (move)",
    ]
    assert plan.read_text(encoding="utf-8") == UNTIDY
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("name", "data", "fault"),
    [
        ("none.csv", None, "no such file"),
        (".csv", b"", "has no ending; a table ends with .csv or .xlsx"),
        ("table.ods", b"", "ends with .ods; a table ends with"),
        ("table.csv", b"x" * (MAX_TABLE_BYTES + 1), "larger than 1 MiB"),
        ("TABLE.XLSX", b"move,work\n", "it is no XLSX workbook"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, name: str, data: bytes | None, fault: str) -> None:
    if data is not None:
        (tmp_path / name).write_bytes(data)
    with pytest.raises((PlanError, UsageError), match=fault):
        read_table(tmp_path / name)


def test_a_folder_is_no_table(tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(PlanError, match="this is a folder"):
        read_table(tmp_path / "folder.csv")


def test_a_sheet_is_named_for_workbooks_only(table: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="--sheet is for XLSX"):
        read_table(table, sheet="Monday")
    path = tmp_path / "table.xlsx"
    path.write_bytes(workbook([("move", "work"), ("Row", "20s")]))
    assert read_table(path, sheet="Sheet").session.session == "table"


@pytest.mark.parametrize("ending", build_tables.ENDINGS)
def test_a_plan_becomes_a_table_and_a_plan_again(plan: Path, tmp_path: Path, ending: str) -> None:
    table = tmp_path / f"table{ending}"
    (warning,) = export_plan(plan, table).warnings
    assert (warning.message, warning.hint) == (
        "a table holds no comments; the plan has one",
        "keep the plan as well",
    )
    import_table(table, tmp_path / "again.yaml")
    assert read_plan(tmp_path / "again.yaml") == read_plan(plan)


def test_a_plan_is_written_in_its_tidy_form_once(plan: Path) -> None:
    assert tidy_plan(plan, only_check=True) is True
    assert plan.read_text(encoding="utf-8") == UNTIDY
    assert tidy_plan(plan) is True
    assert plan.read_text(encoding="utf-8") == TIDY
    assert tidy_plan(plan) is tidy_plan(plan, only_check=True) is False


@pytest.mark.parametrize("text", ["\ufeff" + TIDY, TIDY.replace("\n", "\r\n"), TIDY.rstrip()])
def test_a_mark_or_other_line_ends_are_not_tidy(plan: Path, text: str) -> None:
    plan.write_bytes(text.encode())
    before = read_plan(plan)
    assert tidy_plan(plan) is True
    assert plan.read_bytes() == TIDY.encode()
    assert read_plan(plan) == before


def test_a_link_stays_one_and_permissions_stay(plan: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.yaml"
    link.symlink_to(plan)
    plan.chmod(0o640)
    assert tidy_plan(link) is True
    assert link.is_symlink()
    assert plan.read_text(encoding="utf-8") == TIDY
    assert stat.S_IMODE(plan.stat().st_mode) == 0o640


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everything")
def test_a_plan_that_may_not_be_written_is_left_and_told(plan: Path, tmp_path: Path) -> None:
    plan.chmod(0o440)
    with pytest.raises(WriteError, match="not allowed here"):
        tidy_plan(plan)
    assert plan.read_text(encoding="utf-8") == UNTIDY
    assert list(tmp_path.iterdir()) == [plan]


def test_a_plan_that_changes_meanwhile_is_left_as_it_is(
    plan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tidied = build_tables.tidied_text

    def while_an_editor_saves(text: str, file: str) -> str:
        plan.write_text(UNTIDY.replace("20s", "30s"), encoding="utf-8")
        return tidied(text, file)

    monkeypatch.setattr(build_tables, "tidied_text", while_an_editor_saves)
    with pytest.raises(TidyError, match="was changed meanwhile; it is left as it is"):
        tidy_plan(plan)
    assert plan.read_text(encoding="utf-8") == UNTIDY.replace("20s", "30s")
    assert list(tmp_path.iterdir()) == [plan]


def test_a_house_style_and_a_series_are_tidied_by_what_they_are(tmp_path: Path) -> None:
    house, series = tmp_path / "house.yaml", tmp_path / "winter.yaml"
    house.write_text("calls:   {start: off}\n", encoding="utf-8")
    series.write_text("series: Winter\nsessions:\n- {date: 2026-11-30, plan: quay.yaml}\n", encoding="utf-8")
    assert tidy_plan(house) is tidy_plan(series) is True
    assert house.read_text(encoding="utf-8") == "calls: {start: off}\n"
    assert series.read_text(encoding="utf-8").endswith("sessions:\n  - {date: 2026-11-30, plan: quay.yaml}\n")
    for path in (house, series):
        with pytest.raises(PlanError):  # only a plan becomes a table
            export_plan(path, tmp_path / "table.csv")
