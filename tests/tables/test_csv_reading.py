"""CSV in the forms in which spreadsheets save it."""

from __future__ import annotations

import csv
import io

import pytest

from cuetrack.tables.csv_reading import csv_sheet
from cuetrack.tables.csv_writing import csv_bytes
from cuetrack.tables.sheet import MAX_COLUMNS, MAX_ROWS
from tests.tables.helpers import faults, read

TABLE = "Übung,Dauer,Notizen\nKniebeuge,20s,größer\n"
SESSION = read(TABLE).session


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_encoding_and_separator(encoding: str, delimiter: str, end: str) -> None:
    moved = read(TABLE.replace(",", delimiter).replace("\n", end).encode(encoding))
    assert moved.session == SESSION
    told = [warning.message for warning in moved.warnings]
    assert told == (
        ["it is no UTF-8 text and is read as Windows-1252; look at letters with accents"]
        if encoding == "cp1252"
        else []
    )


def test_the_line_that_names_the_separator() -> None:
    """Some spreadsheets begin with `sep=;`; rows are still counted as they stand in the file."""
    assert read("sep=;\n" + TABLE.replace(",", ";")).session == SESSION
    assert faults("sep=;\r\nmove;work\r\nRow;soon\r\n")[0].startswith("row 3, column B (work): 'soon' is not")


def test_separators_inside_quotes_do_not_count() -> None:
    table = 'move;work;notes\n"Row; fast";20s;"a, b, c, d ""e""\nf"\n'
    (step,) = read(table).session.parts[0].steps
    assert (step.move, step.notes) == ("Row; fast", 'a, b, c, d "e"\nf')  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"move,work\nRow,\x81\n", "byte 15 fits no text encoding that is known here"),
        (b"\xff\xfem\x00\x00\xd8", "byte 5 fits no text encoding that is known here"),
        (b"move,work" * 40 + b"\x00\n", "it is no text"),
        (b"move\n" * (MAX_ROWS + 1), f"row {MAX_ROWS + 1}: more than {MAX_ROWS} rows"),
        (b"move" + b"," * MAX_COLUMNS, f"row 1: more than {MAX_COLUMNS} columns"),
        (
            b"move,work\n" + b",".join([b"x" * 100_000] * 3),
            "the table holds 300008 characters, allowed are 262144",
        ),
        (b"move,work\n" + b"x" * 600_000, "the file holds 600010 characters, allowed are 524288"),
        (b'move,work\n"' + b"x" * 140_000, "row 2: a cell holds more than 131,072 characters"),
    ],
)
def test_what_is_no_table(data: bytes, fault: str) -> None:
    assert faults(data)[0].startswith(fault)


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-5", "@a", "\tx", "'=1", "''=1", "'a", "=cmd|' /C calc'!A0"])
def test_no_cell_is_a_formula_and_all_come_back(cell: str) -> None:
    """OWASP, "CSV Injection": cells that begin with one of = + - @ tab CR (from memory)."""
    data = csv_bytes([["move", "work"], [cell, "20s"]])
    (_, (written, _)) = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""))
    assert not written.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert csv_sheet(data, "table", {}).rows[1].cells[0].text == cell


def test_what_is_written_is_plain_rfc_4180() -> None:
    assert csv_bytes([["a", "b,c"], ['d"e', "f\ng"]]) == b'\xef\xbb\xbfa,"b,c"\r\n"d""e","f\ng"\r\n'
    assert csv_bytes([["ü"]]).decode("utf-8-sig") == "ü\r\n"
