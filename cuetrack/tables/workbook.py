"""XLSX ↔ rows of cells (ECMA-376), by openpyxl; what a stranger's file could do to us is refused first.

A spreadsheet turns `20:30` into a time of day. Such a cell is read as it is shown, and that is told;
a date, a formula without its value and an error value are refused with their row and column.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from math import isfinite
from typing import Any

from cuetrack.document.located import shown
from cuetrack.errors import Diagnostic, Place, PlanError, UsageError
from cuetrack.tables.sheet import (
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    Row,
    Sheet,
    TableMissingError,
    column_letter,
    refused_table,
)

# What a table of MAX_ROWS rows needs, and some; a file that unpacks to more is a bomb.
MAX_UNPACKED_BYTES = 4 * 1024 * 1024
MAX_PACKED_RATIO = 200
MAX_MEMBERS = 300
MAX_CELLS = 40_000
LONGEST_CELL = 32_767  # what a spreadsheet keeps in one cell
_SAVE_AGAIN = "open it in a spreadsheet program and save it again as XLSX, or as CSV (UTF-8)"
_AS_TEXT = "format the column as text, and write it again like 20:30 or 40s"
_WAITING_ROWS = 100


def xlsx_sheet(data: bytes, file: str, wanted: str | None = None) -> Sheet:
    """The table in the workbook `data`: the sheet called `wanted`, or the first that holds anything.

    Raises:
        PlanError: it is no workbook, one that unpacks to far more than a session, or empty.
        UsageError: there is no sheet `wanted`.
        TableMissingError: openpyxl is not installed.
    """
    _refuse_bombs(data, file)
    book = _loaded(data, file, values=False)
    names = [sheet.title for sheet in book.worksheets]
    if wanted is not None and wanted not in names:
        raise UsageError(f"there is no sheet {wanted!r}; found {', '.join(map(shown, names))}")
    filled = [sheet for sheet in book.worksheets if _holds_anything(sheet)]
    chosen = book[wanted] if wanted is not None else next(iter(filled), None)
    if chosen is None or chosen not in filled:
        raise refused_table(file, "the table is empty", "give it a row of headings, and a row for each move")
    if chosen.max_row > MAX_ROWS or chosen.max_column > MAX_COLUMNS:
        size = f"{chosen.max_row} rows and {chosen.max_column} columns"
        limit = f"allowed are {MAX_ROWS} rows and {MAX_COLUMNS} columns; remove what lies far from the table"
        raise refused_table(file, f"the sheet reaches over {size}", limit)
    has_formulas = any(cell.data_type == "f" for row in chosen.iter_rows() for cell in row)
    results = _loaded(data, file, values=True)[chosen.title] if has_formulas else None
    rows = _unmerged(chosen, tuple(_rows(chosen, results)))
    return Sheet(file, rows, tuple(_remarks(chosen, filled, wanted, file)))


def _refuse_bombs(data: bytes, file: str) -> None:
    """Refuses what would unpack to much more than a table needs, before anything is unpacked."""
    try:
        members = zipfile.ZipFile(io.BytesIO(data)).infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise refused_table(file, "it is no XLSX workbook", _SAVE_AGAIN) from None
    unpacked = sum(member.file_size for member in members)
    ratio = max((member.file_size / max(1, member.compress_size) for member in members), default=0)
    hint = "copy the table alone into a new workbook, without pictures and other sheets"
    if len(members) > MAX_MEMBERS or unpacked > MAX_UNPACKED_BYTES:
        size = f"{len(members)} files of {unpacked / 1024**2:.1f} MiB together"
        allowed = f"{MAX_MEMBERS} files and {MAX_UNPACKED_BYTES // 1024**2} MiB"
        raise refused_table(file, f"it unpacks to {size}, allowed are {allowed}", hint)
    if ratio > MAX_PACKED_RATIO and unpacked > MAX_UNPACKED_BYTES // 8:
        raise refused_table(file, f"a file in it is packed {ratio:.0f} to 1, as no table is", hint)


def _openpyxl() -> Any:
    try:
        import defusedxml  # noqa: F401  openpyxl uses it where it is there: no entities that explode
        import openpyxl
    except ImportError as error:
        hint = "install cuetrack with the extra `tables`, or use CSV"
        raise TableMissingError(f"XLSX needs {error.name}, which is not installed; {hint}") from None
    return openpyxl


def _loaded(data: bytes, file: str, *, values: bool) -> Any:
    openpyxl = _openpyxl()
    try:
        _refuse_many_cells(data, file)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about drawings and styles, which we do not read
            return openpyxl.load_workbook(io.BytesIO(data), data_only=values, keep_links=False)
    except PlanError:
        raise
    except Exception as error:  # the reader trips over broken files in many ways
        message = f"it cannot be read as an XLSX workbook ({type(error).__name__})"
        raise refused_table(file, message, _SAVE_AGAIN) from None


def _refuse_many_cells(data: bytes, file: str) -> None:
    """Small files can hold very many empty cells; each takes memory when it is read."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheets = [name for name in archive.namelist() if name.lower().endswith(".xml")]
        cells = sum(len(re.findall(rb"<(?:\w+:)?c[\s/>]", archive.read(name))) for name in sheets)
    if cells > MAX_CELLS:
        hint = "copy the table alone into a new workbook"
        raise refused_table(file, f"it holds {cells} cells, allowed are {MAX_CELLS}", hint)


def _holds_anything(sheet: Any) -> bool:
    return any(cell.value is not None for cell in sheet._cells.values())


def _rows(sheet: Any, results: Any) -> Iterator[Row]:
    for number, row in enumerate(sheet.iter_rows(), start=1):
        cells = []
        for cell in row:
            result = results.cell(cell.row, cell.column) if results and cell.data_type == "f" else None
            cells.append(_cell(cell, result))
        yield Row(number, tuple(cells))


def _cell(cell: Any, result: Any) -> Cell:
    """What a cell says; `result` is its value where it is a formula."""
    value, shown_format = cell.value, str(cell.number_format)
    if result is not None:
        value = result.value
        if value is None:
            message = "the formula's value is not in the file"
            return Cell(fault=(message, "save the file in a spreadsheet program, or write the value itself"))
    if (result or cell).data_type == "e":
        return Cell(str(value), (f"the cell shows the error {value}", "write the value itself"))
    match value:
        case None:
            return Cell()
        case bool():
            return Cell("on" if value else "off")
        case datetime() | date():
            message = f"the spreadsheet made a date of it, {value:%Y-%m-%d}"
            return Cell(f"{value:%Y-%m-%d}", (message, _AS_TEXT))
        case time():
            return _time_cell(
                timedelta(hours=value.hour, minutes=value.minute, seconds=value.second), shown_format
            )
        case timedelta():
            return _time_cell(value, shown_format)
        case int() | float():
            return _number_cell(value)
    return Cell(str(value).strip())


def _time_cell(length: timedelta, shown_format: str) -> Cell:
    """A time of day or of hours, as the cell shows it: `h:mm` shows 20:30 for 20 h 30 min."""
    total = round(length.total_seconds())
    hours, minutes, seconds = total // 3600, total // 60 % 60, total % 60
    form = re.sub(r'"[^"]*"|\\.', "", shown_format.lower())
    with_hours = "h" in form
    if not with_hours:
        text = f"{total // 60 if '[m' in form else minutes}:{seconds:02d}"
        exact = hours == 0 or "[m" in form
    elif "s" in form:
        text, exact = f"{hours}:{minutes:02d}:{seconds:02d}", True
    else:
        text, exact = f"{hours}:{minutes:02d}", seconds == 0
    if total < 0 or not exact or "am/pm" in form:
        return Cell(
            text, ("the spreadsheet made a time of day of it, and shows only a part of that", _AS_TEXT)
        )
    if with_hours and "s" in form and hours and not seconds:
        taken = f"{hours}:{minutes:02d}"
        message = f"the spreadsheet made {hours} h {minutes} min of it; {taken} may have been meant"
        return Cell(text, (message, _AS_TEXT))
    return Cell(text, remark=f"the spreadsheet keeps a time of day here; read as it is shown, {text}")


def _number_cell(value: float) -> Cell:
    if not isfinite(value):
        return Cell(str(value), ("this is no number", "write the value itself"))
    if value == int(value):
        return Cell(str(int(value)))
    of_a_day = value * 86_400
    if 0 < value < 1 and abs(of_a_day - round(of_a_day)) < 1e-6 and round(value, 4) != value:
        message = f"{value:.6g} is a part of a day, {timedelta(seconds=round(of_a_day))}"
        return Cell(f"{value:.6g}", (message, _AS_TEXT))
    return Cell(f"{value:.9f}".rstrip("0"))


def _unmerged(sheet: Any, rows: tuple[Row, ...]) -> tuple[Row, ...]:
    """Merged cells of one column say the same in each of their rows; others are refused where they stand."""
    cells = [list(row.cells) for row in rows]
    for area in sheet.merged_cells.ranges:
        top, left = area.min_row - 1, area.min_col - 1
        if top >= len(cells) or left >= len(cells[top]) or not cells[top][left]:
            continue
        if area.max_col > area.min_col:
            message = f"the cells {area.coord} are merged into one over several columns"
            hint = "unmerge them, and write into each column what belongs there"
            cells[top][left] = Cell(cells[top][left].text, (message, hint))
            continue
        for number in range(area.min_row, min(area.max_row, len(cells))):
            text = shown(cells[top][left].text)
            told = f"the cells {area.coord} are merged; each of their rows is read as {text}"
            cells[number][left] = Cell(cells[top][left].text, cells[top][left].fault, told)
    return tuple(Row(row.number, tuple(changed)) for row, changed in zip(rows, cells, strict=True))


def _remarks(chosen: Any, filled: Sequence[Any], wanted: str | None, file: str) -> Iterator[Diagnostic]:
    """What is in the workbook and might surprise: other sheets, hidden rows."""
    others = [sheet.title for sheet in filled if sheet is not chosen]
    place = Place(file, 1, 1, 1, "")
    if others and wanted is None:
        names = ", ".join(map(shown, others))
        message = f"only the sheet {chosen.title!r} is read, not {names}"
        yield Diagnostic("warning", message, place, "say --sheet NAME for another")
    hidden = [
        number for number, row in chosen.row_dimensions.items() if row.hidden and number <= chosen.max_row
    ]
    if hidden:
        message = f"hidden rows are read too: {', '.join(map(str, hidden[:20]))}"
        yield Diagnostic("warning", message, place, "remove the rows that do not belong to the session")
    columns = [name for name, column in chosen.column_dimensions.items() if column.hidden]
    if columns:
        yield Diagnostic("warning", f"hidden columns are read too: {', '.join(columns[:20])}", place)


def xlsx_bytes(rows: Sequence[Sequence[str]], title: str) -> bytes:
    """`rows`, the first of them headings, as a workbook; every cell is a text, also those still empty.

    So 20:30 stays 20:30 when the coach types it. Equal rows give equal bytes.
    """
    openpyxl = _openpyxl()
    from openpyxl.styles import Alignment, Font

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = re.sub(r"[\[\]:*?/\\']", " ", title)[:31].strip() or "Session"
    width = max(map(len, rows))
    for number, row in enumerate([*rows, *([()] * _WAITING_ROWS)], start=1):
        for column in range(1, width + 1):
            cell = sheet.cell(number, column)
            cell.number_format = "@"
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            if column <= len(row) and row[column - 1]:
                cell.value, cell.data_type = row[column - 1], "s"
            if number == 1:
                cell.font = Font(bold=True)
    for column in range(width):
        longest = max(len(row[column]) if column < len(row) else 0 for row in rows)
        sheet.column_dimensions[column_letter(column)].width = min(50, max(8, longest + 2))
    sheet.freeze_panes = "A2"
    stream = io.BytesIO()
    book.save(stream)
    return _without_clock(stream.getvalue())


# Any moment would do; this one is the first that a ZIP file can name.
_FIRST_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
_CLOCK = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def _without_clock(data: bytes) -> bytes:
    """The workbook without the time at which it was written."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as read, zipfile.ZipFile(stream, "w") as written:
        for name in read.namelist():
            content = (
                _CLOCK.sub(rb"\g<1>1980-01-01T00:00:00Z", read.read(name))
                if "core" in name
                else read.read(name)
            )
            entry = zipfile.ZipInfo(name, _FIRST_ZIP_TIME)
            written.writestr(entry, content, zipfile.ZIP_DEFLATED)
    return stream.getvalue()
