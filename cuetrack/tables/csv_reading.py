"""CSV → rows of cells (RFC 4180, and the ways in which spreadsheets differ from it).

UTF-8, UTF-16 and, where it is neither, Windows-1252; comma, semicolon or tab between the cells. The
apostrophe that `csv_writing` puts before what looks like a formula is taken away.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping

from cuetrack.errors import Diagnostic, Place
from cuetrack.tables.csv_writing import FORMULA
from cuetrack.tables.headings import Column
from cuetrack.tables.reading import known_columns
from cuetrack.tables.sheet import MAX_CHARACTERS, MAX_COLUMNS, MAX_ROWS, Cell, Row, Sheet, refused_table

_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_SEARCHED_ROWS = 30
_SEPARATOR_LINE = re.compile(r"sep=([,;\t])\r?\n", re.IGNORECASE)


def csv_sheet(data: bytes, file: str, mapped: Mapping[str, Column]) -> Sheet:
    """The table in `data`; which sign is between the cells follows from the headings.

    Raises:
        PlanError: it is no text, no table, or larger than any session.
    """
    text, warnings = _decoded(data, file)
    if len(text) > 2 * MAX_CHARACTERS:  # with separators and quotes
        message = f"the file holds {len(text)} characters, allowed are {2 * MAX_CHARACTERS}"
        raise refused_table(file, message, "keep one session in one table")
    told = _SEPARATOR_LINE.match(text)  # a line that some spreadsheets write
    skipped = 1 if told else 0
    text = text[told.end() :] if told else text
    delimiters = [told[1]] if told else list(_DELIMITERS)
    delimiter = max(delimiters, key=lambda sign: _likeliness(text, sign, mapped))
    rows = []
    try:
        for number, cells in enumerate(_reader(text, delimiter), start=1 + skipped):
            if number > MAX_ROWS or len(cells) > MAX_COLUMNS:
                what = (
                    f"more than {MAX_ROWS} rows" if number > MAX_ROWS else f"more than {MAX_COLUMNS} columns"
                )
                raise refused_table(file, f"row {number}: {what}", "keep one session in one table", number)
            rows.append(Row(number, tuple(Cell(_read(cell)) for cell in cells)))
    except csv.Error as error:
        number = len(rows) + 1 + skipped
        raise refused_table(file, f"row {number}: {_fault(error)}", _QUOTES, number) from None
    return Sheet(file, tuple(rows), warnings)


_QUOTES = (
    'put a cell that holds a quote, a separator or a line end into "quotes", and double each quote in it'
)


def _fault(error: csv.Error) -> str:
    said = str(error)
    if "unexpected end of data" in said:
        return "a quote is opened in this row and never closed"
    if "field larger" in said:
        return "a cell holds more than 131,072 characters; a quote may not be closed"
    return "a quote ends before its cell does" if "expected after" in said else f"it cannot be read ({said})"


def _reader(text: str, delimiter: str) -> Iterable[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)


def _likeliness(text: str, delimiter: str, mapped: Mapping[str, Column]) -> tuple[int, int]:
    """How many headings are known with this sign between the cells, and how many cells there are."""
    known, cells = 0, 0
    try:
        for _, row in zip(range(_SEARCHED_ROWS), _reader(text, delimiter), strict=False):
            known = max(known, len(known_columns(row[:MAX_COLUMNS], mapped)))
            cells += len(row)
    except csv.Error:
        pass
    return known, cells


def _read(cell: str) -> str:
    text = cell.strip()
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text


def _decoded(data: bytes, file: str) -> tuple[str, tuple[Diagnostic, ...]]:
    """The text, and a warning where its encoding had to be guessed."""
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return _by(data, encoding, file), ()
    zeros = (data[0:200:2].count(0), data[1:200:2].count(0))
    if max(zeros) > 20 or (data and max(zeros) * 2 >= len(data[:200]) // 2 > 0):
        return _by(data, "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le", file), ()
    if b"\x00" in data:
        raise refused_table(file, "it is no text", "save the table as CSV (UTF-8) or XLSX")
    try:
        return data.decode("utf-8"), ()
    except UnicodeDecodeError:
        text = _by(data, "cp1252", file)
        message = "it is no UTF-8 text and is read as Windows-1252; look at letters with accents"
        hint = "save it as CSV UTF-8 if they are wrong"
        return text, (Diagnostic("warning", message, Place(file, 1, 1, 1, ""), hint),)


def _by(data: bytes, encoding: str, file: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        message = f"byte {error.start + 1} fits no text encoding that is known here"
        raise refused_table(file, message, "save the table as CSV (UTF-8) or XLSX") from None
