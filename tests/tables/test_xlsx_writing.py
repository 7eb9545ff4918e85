"""Tables written as XLSX: texts only, so that a spreadsheet makes nothing else of them."""

from __future__ import annotations

import io
import zipfile

import openpyxl

from cuetrack.tables.xlsx_writing import xlsx_bytes

ROWS = [["move", "work", "notes"], ["Row", "20:30", "=1+1"], ["-5", "1:00", "<&>\n\"'"]]


def test_what_is_written_is_text_in_every_cell_also_in_those_still_empty() -> None:
    """So a spreadsheet makes no time of day of 20:30, and runs no formula."""
    sheet = openpyxl.load_workbook(
        io.BytesIO(xlsx_bytes(ROWS, "Quay [winter]/training: day 1 of 12")), data_only=False
    ).active
    assert sheet is not None
    assert sheet.title == "Quay  winter  training  day 1 o"
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert [cell.value for cell in cells] == [text for row in ROWS for text in row]
    assert {(cell.number_format, cell.data_type) for cell in cells} == {("@", "s")}
    assert {sheet.column_dimensions[letter].number_format for letter in "ABC"} == {"@"}
    assert sheet.freeze_panes == "A2"


def test_equal_rows_give_equal_bytes_whatever_the_clock_says() -> None:
    data = xlsx_bytes(ROWS, "Quay")
    assert xlsx_bytes(ROWS, "Quay") == data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert {member.date_time for member in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"1980-01-01T00:00:00Z" in archive.read("docProps/core.xml")
        assert all(b"20%02d" % year not in archive.read("docProps/core.xml") for year in range(24, 60))
