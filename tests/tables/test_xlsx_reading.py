"""XLSX as spreadsheets save it, and as somebody could make it to do harm."""

from __future__ import annotations

import sys
from datetime import date, datetime, time, timedelta
from typing import Any

import openpyxl
import pytest

from cuetrack.errors import ExitCode, TableMissingError, UsageError
from cuetrack.plan.text import parse_plan
from cuetrack.tables.sheet import MAX_COLUMNS, MAX_ROWS
from cuetrack.tables.typed_cells import typed_cell
from cuetrack.tables.xlsx_reading import xlsx_sheet
from tests.tables.helpers import faults, read, saved, with_member, workbook

HEAD = ("part", "move", "work", "rest")
SHEET = "xl/worksheets/sheet1.xml"


def work_of(data: bytes) -> str:
    (step,) = read(data).session.parts[0].steps
    return str(step.work)  # type: ignore[union-attr]


def with_work(value: Any, number_format: str | None = None) -> bytes:
    def change(sheet: Any) -> None:
        if number_format:
            sheet["C2"].number_format = number_format

    return workbook([HEAD, ("Main", "Row", value, None)], change)


@pytest.mark.parametrize(
    ("value", "number_format", "expected"),
    [
        ("20:30", None, "20 min 30 s"),
        ("40s", "@", "40 s"),
        (time(20, 30), "h:mm", "20 min 30 s"),  # what Excel makes of a typed 20:30
        (time(0, 20, 30), "h:mm:ss", "20 min 30 s"),
        (time(0, 20, 30), "mm:ss", "20 min 30 s"),
        (timedelta(minutes=90, seconds=5), "[mm]:ss", "90 min 5 s"),
        (timedelta(hours=1, minutes=5, seconds=5), "[h]:mm:ss", "65 min 5 s"),
        (0.0142361111111111, "h:mm:ss", "20 min 30 s"),  # a part of a day, shown as a time
    ],
)
def test_times_are_read_as_they_are_shown(value: Any, number_format: str | None, expected: str) -> None:
    data = with_work(value, number_format)
    assert work_of(data) == expected
    told = [warning.message for warning in read(data).warnings]
    assert len(told) == (not isinstance(value, str))
    assert all(
        message.startswith("row 2, column C (work): the spreadsheet keeps a time of day") for message in told
    )


@pytest.mark.parametrize(
    ("value", "number_format", "fault"),
    [
        (time(20, 30), "h:mm:ss", "'20:30:00' is a time of hours; 20:30 may have been meant"),
        (timedelta(hours=45), "[h]:mm:ss", "'45:00:00' is a time of hours; 45:00 may have been meant"),
        (
            time(20, 30),
            "h:mm AM/PM",
            "the spreadsheet made a time of day of it, and shows only a part of that",
        ),
        (time(0, 20, 30), "h:mm", "the spreadsheet made a time of day of it, and shows only a part of that"),
        (time(20, 30), "mm:ss", "the spreadsheet made a time of day of it, and shows only a part of that"),
        (datetime(2030, 1, 30), None, "the spreadsheet made a date of it, 2030-01-30"),
        (date(2030, 1, 30), None, "the spreadsheet made a date of it, 2030-01-30"),
        (0.854166666666667, None, "0.854167 is a part of a day, 20:30:00"),
        (40, None, "'40' is a time without a unit"),
        (2.5, None, "'2.5' is a time without a unit"),
        (True, None, "'on' is not a time"),
        ("=20+20", None, "the formula's value is not in the file"),
        ("#REF!", None, "the cell shows the error #REF!"),
    ],
)
def test_what_a_spreadsheet_made_of_a_time_is_refused(
    value: Any, number_format: str | None, fault: str
) -> None:
    assert [found.partition(" / ")[0] for found in faults(with_work(value, number_format))] == [
        f"row 2, column C (work): {fault}"
    ]


def test_a_long_error_in_a_cell_is_quoted_in_part() -> None:
    """A file that no spreadsheet wrote may call anything an error."""
    cell = typed_cell("[" * 5_000, "General", is_error=True, is_formula=False)
    assert cell.fault is not None
    assert cell.fault[0].startswith("the cell shows the error [[[")
    assert len(cell.fault[0]) < 100


def test_faults_in_columns_that_are_not_read_do_not_matter() -> None:
    data = workbook([(*HEAD, "on"), ("Main", "Row", "20s", None, date(2030, 1, 30))])
    assert [warning.message for warning in read(data).warnings] == [
        "row 1, column E (on): the column is not used"
    ]


def test_numbers_below_a_heading_with_a_unit() -> None:
    data = workbook([("move", "work (s)", "rounds", "rest [min]"), ("Row", 40, 3.0, 1.5)])
    expected = (
        "session: table\nparts:\n  - {part: table, rounds: 3, steps: [{move: Row, work: 40s, rest: 90s}]}"
    )
    assert read(data).session == parse_plan(expected)


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (b"30.000000000000004", "s", "30 s"),  # 0.1 * 3 * 100
        (b"28.999999999999996", "s", "29 s"),  # 0.29 * 100
        (b"0.30000000000000004", "min", "18 s"),  # 0.1 + 0.2
        (b"100", "s", "1 min 40 s"),
        (b"12.25", "s", "12.25 s"),
    ],
)
def test_a_number_that_a_formula_made_is_the_one_that_the_cell_shows(
    value: bytes, unit: str, expected: str
) -> None:
    """Spreadsheets keep 17 digits (from memory); openpyxl writes fewer."""
    data = workbook([("move", f"work ({unit})"), ("Row", 41)])
    assert (
        work_of(with_member(data, SHEET, lambda xml: xml.replace(b"<v>41</v>", b"<v>%s</v>" % value)))
        == expected
    )


def test_a_formula_with_its_value_is_that_value() -> None:
    data = with_member(
        with_work("=20+20"),
        SHEET,
        lambda xml: xml.replace(b"<f>20+20</f><v />", b"<f>20+20</f><v>40s</v>").replace(
            b'<c r="C2">', b'<c r="C2" t="str">'
        ),
    )
    assert work_of(data) == "40 s"


def merged(area: str, **cells: str) -> bytes:
    rows = [HEAD, ("Main", "Row", "20s", "5s"), (None, "Squat", "20s", None), (None, "Lunge", "20s", None)]

    def change(sheet: Any) -> None:
        for name, value in cells.items():
            sheet[name] = value
        sheet.merge_cells(area)

    return workbook(rows, change)


def test_merged_cells_of_one_column_count_for_each_of_their_rows() -> None:
    moved = read(merged("D2:D4"))
    assert [str(step.rest) for step in moved.session.parts[0].steps] == ["5 s"] * 3  # type: ignore[union-attr]
    assert [warning.message for warning in moved.warnings] == [
        f"row {row}, column D (rest): the cells D2:D4 are merged; each of their rows is read as '5s'"
        for row in (3, 4)
    ]
    assert len(read(merged("A2:A4")).session.parts) == 1


def test_merged_cells_over_several_columns_are_refused() -> None:
    (found,) = faults(merged("B3:D3"))
    assert found.startswith(
        "row 3, column B (move): the cells B3:D3 are merged into one over several columns"
    )


def test_empty_rows_are_passed_over_and_hidden_ones_told() -> None:
    def change(sheet: Any) -> None:
        sheet.row_dimensions[4].hidden = True
        sheet.column_dimensions["D"].hidden = True

    data = workbook([HEAD, ("Main", "Row", "20s", None), (None,) * 4, (" ", "Squat", "20s", None)], change)
    assert [step.move for step in read(data).session.parts[0].steps] == ["Row", "Squat"]  # type: ignore[union-attr]
    assert [warning.message for warning in read(data).warnings] == [
        "what is hidden is read too: column D, row 4",
    ]


def test_the_first_sheet_that_holds_anything_is_read_or_the_one_that_is_named() -> None:
    book = openpyxl.Workbook()
    for name, move in (("Monday", "Row"), ("Friday", "Squat")):
        sheet = book.create_sheet(name)
        sheet.append(HEAD)
        sheet.append(("Main", move, "20s", None))
    data = saved(book)
    moved = read(data)
    assert moved.session.parts[0].steps[0].move == "Row"  # type: ignore[union-attr]
    assert [warning.message for warning in moved.warnings] == [
        "only the sheet 'Monday' is read, not 'Friday'"
    ]
    moved = read(data, sheet="Friday")
    assert moved.session.parts[0].steps[0].move == "Squat"  # type: ignore[union-attr]
    assert moved.warnings == ()
    with pytest.raises(UsageError, match="no sheet 'Sunday'; found 'Sheet', 'Monday', 'Friday'"):
        read(data, sheet="Sunday")


def bomb(size: int, name: str = "xl/theme/bomb.xml") -> bytes:
    return with_member(with_work("20s"), name, b" " * size)


def with_sheet(before: bytes, after: bytes) -> bytes:
    return with_member(with_work("20s"), SHEET, lambda xml: xml.replace(before, after))


def with_styles(elements: bytes) -> bytes:
    space = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    styles = b'<styleSheet xmlns="%s">%s</styleSheet>' % (space, elements)
    return with_member(with_work("20s"), "xl/styles.xml", lambda _: styles)


def with_name(text: bytes) -> bytes:
    name = b'<definedName name="_xlnm.Print_Titles" localSheetId="0">%s</definedName>' % text
    names = b"</sheets><definedNames>%s</definedNames>" % name

    def changed(xml: bytes) -> bytes:
        return xml.replace(b"<definedNames />", b"").replace(b"</sheets>", names)

    return with_member(with_work("20s"), "xl/workbook.xml", changed)


def laughing(encoding: str) -> bytes:
    """Entities that multiply: a thousand million of them in a few lines ("billion laughs")."""
    entities = "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9))

    def with_entities(xml: bytes) -> bytes:
        body = xml.decode().partition("?>")[2].replace("20s<", "&j;<")
        return f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "20s">{entities}]>{body}'.encode(encoding)

    return with_member(with_work("20s"), SHEET, with_entities)


FEW = 60_000 // 50


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"PK\x03\x04nothing", "it is no XLSX workbook"),
        (with_work("20s")[:-200], "it is no XLSX workbook"),
        (workbook([]), "the table is empty"),
        (
            workbook([HEAD], lambda sheet: sheet.cell(1_048_576, 1, "x")),
            "the sheet reaches over 1048576 rows and 4 columns",
        ),
        (
            workbook([HEAD], lambda sheet: sheet.cell(1, 16_384, "x")),
            "the sheet reaches over 1 rows and 16384 columns",
        ),
        (bomb(64 * 1024**2), "it unpacks to 64.0 MiB, allowed are 2.0 MiB"),
        (with_styles(b"<cellXfs>%s</cellXfs>" % (b"<xf/>" * 90_000)), "it is made of 9"),
        (with_styles(b"<cellXfs>%s</cellXfs>" % (b"<xf/>" * 9_000)), "it has 9000 styles, allowed are 5000"),
        (
            with_styles(b'<numFmts><numFmt numFmtId="200" formatCode="%s"/></numFmts>' % (b"&#91;" * 256)),
            "'xl/styles.xml' in it has a numFmt of 256 characters",
        ),
        (with_name(b"'<!-- -->" * 256), "'xl/workbook.xml' in it has a definedName of 256 characters"),
        (
            with_sheet(b"<sheetData>", b'<mergeCells><mergeCell ref="A1:B2"/></mergeCells><sheetData>'),
            "it cannot be",
        ),
        (
            with_sheet(b"<sheetData>", b"<sheetData>" + (b"<row>" + b"<c/>" * 90 + b"</row>") * 900),
            "it is made of 8",
        ),
        (with_member(with_work("20s"), SHEET, b"<a>"), "it cannot be read as an XLSX workbook (ParseError)"),
        (
            with_sheet(b"</sheetData>", b'<row r="1"><c><v>5</v></c></row></sheetData>'),
            "it cannot be read as an",
        ),
        (laughing("utf-8"), "'xl/worksheets/sheet1.xml' in it has a document type"),
        (laughing("utf-16"), "'xl/worksheets/sheet1.xml' in it has a document type"),
        (with_member(with_work("20s"), "xl/workbook.xml", b"<a/>"), "the table is empty"),
    ],
)
def test_what_is_no_table_or_a_bomb(data: bytes, fault: str) -> None:
    """The bombs among them would keep openpyxl busy for minutes, or take all memory."""
    assert MAX_ROWS < 1_048_576
    assert MAX_COLUMNS < 16_384
    assert [found.startswith(fault) for found in faults(data)] == [True], faults(data)


WHOLE = b'ref="A1:XFD1048576"'


@pytest.mark.parametrize(
    "after",
    [
        b"<hyperlinks>%s</hyperlinks>" % (b"<hyperlink %s/>" % WHOLE * FEW),
        b"<dataValidations>%s</dataValidations>" % (b"<dataValidation sq%s/>" % WHOLE * FEW),
        b'<conditionalFormatting sqref="%s"/>' % (b"A1:XFD1048576 " * 500),
        b"<mergeCells>%s</mergeCells>" % (b'<mergeCell ref="E9:XFD1048576"/>' * FEW),
    ],
    ids=["links", "validations", "formats", "merged"],
)
def test_what_spans_a_million_rows_costs_nothing(after: bytes) -> None:
    """openpyxl would make a cell for each place in them, which no memory can hold."""
    assert work_of(with_sheet(b"</sheetData>", b"</sheetData>" + after)) == "20 s"


def test_an_encrypted_workbook_is_refused() -> None:
    """Spreadsheets put it into an OLE container, which begins with these bytes ([MS-CFB] 2.2)."""
    with pytest.raises(Exception, match="it is no XLSX workbook"):
        xlsx_sheet(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "table.xlsx")


def test_without_openpyxl_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    data = with_work("20s")
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(
        TableMissingError, match=r'CSV needs nothing; python -m pip install "\.\[tables\]"'
    ) as raised:
        read(data)
    assert raised.value.exit_code == ExitCode.MACHINE_LACKS
