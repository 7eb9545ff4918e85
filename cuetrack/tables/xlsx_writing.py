"""Rows of texts → XLSX bytes (ECMA-376), by openpyxl; equal rows give equal bytes."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence

from cuetrack.tables.sheet import column_letter
from cuetrack.tables.xlsx_reading import openpyxl_or_refuse

LONGEST_CELL = 32_767  # what a spreadsheet keeps in one cell
_AS_TEXT = "@"  # the number format of texts (ECMA-376-1, 18.8.30)
_WIDTHS = (8, 50)
# Any moment would do; this one is the first that a ZIP file can name.
_FIRST_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
_CLOCK = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def xlsx_bytes(rows: Sequence[Sequence[str]], title: str) -> bytes:
    """`rows`, the first of them headings, as a workbook in which every column is one of texts.

    So 20:30 stays 20:30 when the coach types it, and no cell is a formula.

    Raises:
        TableMissingError: openpyxl is not installed.
    """
    book = openpyxl_or_refuse().Workbook()
    from openpyxl.styles import Alignment, Font

    sheet = book.active
    sheet.title = re.sub(r"[\[\]:*?/\\']", " ", title)[:31].strip() or "Session"
    top = Alignment(wrap_text=True, vertical="top")
    for number, row in enumerate(rows, start=1):
        for column, text in enumerate(row, start=1):
            if text:
                cell = sheet.cell(number, column)
                cell.value, cell.data_type = text, "s"
                cell.number_format, cell.alignment, cell.font = _AS_TEXT, top, Font(bold=number == 1)
    for column, texts in enumerate(zip(*rows, strict=True)):
        dimension = sheet.column_dimensions[column_letter(column)]
        dimension.width = min(_WIDTHS[1], max(_WIDTHS[0], *(len(text) + 2 for text in texts)))
        dimension.number_format, dimension.alignment = _AS_TEXT, top
    sheet.freeze_panes = "A2"
    stream = io.BytesIO()
    book.save(stream)
    return _without_clock(stream.getvalue())


def _without_clock(data: bytes) -> bytes:
    """The workbook without the time at which it was written."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as read, zipfile.ZipFile(stream, "w") as written:
        for name in read.namelist():
            content = read.read(name)
            if name == "docProps/core.xml":
                content = _CLOCK.sub(rb"\g<1>1980-01-01T00:00:00Z", content)
            written.writestr(zipfile.ZipInfo(name, _FIRST_ZIP_TIME), content, zipfile.ZIP_DEFLATED)
    return stream.getvalue()
