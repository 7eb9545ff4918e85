"""XLSX bytes (ECMA-376) → rows of cells, by openpyxl; what a file could do to us is refused first."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import closing, redirect_stdout, suppress
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from cuetrack.document.located import shown
from cuetrack.errors import CuetrackError, Diagnostic, Place, TableMissingError, UsageError, how_to_add
from cuetrack.tables.sheet import MAX_COLUMNS, MAX_ROWS, Cell, Row, Sheet, column_letter, refused_table
from cuetrack.tables.typed_cells import typed_cell

# A table of MAX_ROWS rows needs less. However small a bomb is packed, this is what it comes to.
MAX_UNPACKED_BYTES = 2 * 1024**2
MAX_ELEMENTS = 60_000
# Sheets can share one file, which openpyxl reads again for each of them.
MAX_READ_ELEMENTS = 5 * MAX_ELEMENTS
# Its patterns take very long over long ones: Excel keeps number formats of 255 characters (its limits).
_MAX_TEXT = 255
_MAX_ATTRIBUTE = 8192
_MAX_STYLES = 5_000
# What belongs behind the cells; there it is never read.
_BEHIND_CELLS = {
    "conditionalFormatting",
    "dataValidations",
    "hyperlinks",
    "mergeCells",
    "scenarios",
    "tableParts",
}
_MOST_NAMED = 10
_SAVE_AGAIN = "open it in a spreadsheet program and save it again as XLSX, or as CSV (UTF-8)"
_COPY_ALONE = "copy the table alone into a new workbook, without pictures and other sheets"


def xlsx_sheet(data: bytes, file: str, wanted: str | None = None) -> Sheet:
    """The table in the workbook `data`: the sheet called `wanted`, or the first that holds anything.

    Raises:
        PlanError: it is no workbook, one that unpacks to far more than a session, or empty.
        UsageError: there is no sheet `wanted`.
        TableMissingError: openpyxl is not installed.
    """
    load_workbook = openpyxl_or_refuse().load_workbook
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about drawings and the like, which nobody reads
            _refuse_bombs(archive, file)
            # Read-only, it makes nothing of merged cells and links, which could span a million rows. Of some
            # broken files it prints a word, which would spoil the answer of --json.
            with (
                redirect_stdout(None),
                closing(load_workbook(io.BytesIO(data), read_only=True, data_only=True)) as book,
            ):
                return _chosen_sheet(book.worksheets, archive, file, wanted)
    except CuetrackError:
        raise
    except zipfile.BadZipFile:
        raise refused_table(file, "it is no XLSX workbook", _SAVE_AGAIN) from None
    except Exception as error:  # the libraries trip over broken files in many ways
        message = f"it cannot be read as an XLSX workbook ({type(error).__name__})"
        raise refused_table(file, message, _SAVE_AGAIN) from None


def openpyxl_or_refuse() -> Any:
    """The library that reads and writes XLSX.

    Raises:
        TableMissingError: it is not installed.
    """
    try:
        import openpyxl
    except ImportError:
        needs = "XLSX needs openpyxl, which is not here, and CSV needs nothing"
        raise TableMissingError(f"{needs}; {how_to_add('tables')}") from None
    return openpyxl


def _refuse_bombs(archive: zipfile.ZipFile, file: str) -> None:
    """Refuses what unpacks to much more than a table needs, or would keep openpyxl busy for long.

    No more than allowed is unpacked for it.
    """
    unpacked = sum(member.file_size for member in archive.infolist())
    if unpacked > MAX_UNPACKED_BYTES:
        size, limit = (f"{number / 1024**2:.1f} MiB" for number in (unpacked, MAX_UNPACKED_BYTES))
        raise refused_table(file, f"it unpacks to {size}, allowed are {limit}", _COPY_ALONE)
    kinds: Counter[str] = Counter()
    for member in archive.infolist():
        content, name = archive.read(member), shown(member.filename)
        # ECMA-376-2 forbids them: in their entities texts can multiply. UTF-16 has zeros between the letters.
        if b"<!DOCTYPE" in content.replace(b"\x00", b""):
            raise refused_table(file, f"{name} in it has a document type", _SAVE_AGAIN)
        for kind, longest in _elements(content):
            kinds[kind] += 1
            if longest > (_MAX_TEXT if kind in {"numFmt", "definedName"} else _MAX_ATTRIBUTE):
                raise refused_table(file, f"{name} in it has a {kind} of {longest} characters", _COPY_ALONE)
    elements, sheets = kinds.total(), max(1, kinds["sheet"])
    if elements > MAX_ELEMENTS or elements * sheets > MAX_READ_ELEMENTS:
        allowed = min(MAX_ELEMENTS, MAX_READ_ELEMENTS // sheets)
        message = f"it is made of {elements} elements (cells, texts, styles), allowed are {allowed}"
        many = f" with {sheets} sheets" if sheets > 1 else ""
        raise refused_table(file, message + many, _COPY_ALONE)
    if kinds["xf"] > _MAX_STYLES:
        raise refused_table(file, f"it has {kinds['xf']} styles, allowed are {_MAX_STYLES}", _COPY_ALONE)


def _elements(content: bytes) -> Iterator[tuple[str, int]]:
    """Each element's name, and the length of its longest attribute, or of a name's own text."""
    from openpyxl.xml.functions import iterparse

    with suppress(SyntaxError):  # a picture, or a file that openpyxl will complain about
        for _, element in iterparse(io.BytesIO(content)):
            kind = element.tag.rpartition("}")[2]
            texts = [*element.attrib.values(), *([element.text or ""] if kind == "definedName" else [])]
            yield kind, max(map(len, texts), default=0)
            element.clear()


@dataclass(slots=True)
class _Extent:
    """What openpyxl does not tell in its read-only mode; rows and columns count from 1, 0 for none."""

    last_row: int = 0
    last_column: int = 0
    formulas: set[tuple[int, int]] = field(default_factory=set)
    merged: set[str] = field(default_factory=set)
    hidden: list[str] = field(default_factory=list)


def _extent(archive: zipfile.ZipFile, path: str) -> _Extent:
    from openpyxl.utils.cell import coordinate_to_tuple
    from openpyxl.xml.functions import iterparse

    found, row, column, is_behind = _Extent(), 0, 0, False
    with archive.open(path) as xml:
        for event, element in iterparse(xml, ("start", "end")):
            kind = element.tag.rpartition("}")[2]
            if event == "end":
                is_behind = is_behind or kind == "sheetData"
                if kind == "row":
                    element.clear()
            elif kind in _BEHIND_CELLS and not is_behind:
                raise ValueError(f"{kind} stands before the cells")
            elif kind == "row":
                above, row, column = row, int(element.get("r", row + 1)), 0
                if row <= above:
                    raise ValueError("the rows are not in their order")
                found.hidden += [f"row {row}"] if _is_hidden(element) else []
            elif kind == "c":
                named = element.get("r")
                column = coordinate_to_tuple(named)[1] if named else column + 1
            elif kind in {"v", "is", "f"} and row:
                found.last_row, found.last_column = row, max(found.last_column, column)
                found.formulas |= {(row, column)} if kind == "f" else set()
            elif kind == "col" and _is_hidden(element):
                found.hidden.append(f"column {column_letter(int(element.get('min')) - 1)}")
            elif kind == "mergeCell":
                found.merged.add(element.get("ref"))
    return found


def _is_hidden(element: Any) -> bool:
    return element.get("hidden") in {"1", "true"}


def _chosen_sheet(sheets: list[Any], archive: zipfile.ZipFile, file: str, wanted: str | None) -> Sheet:
    titles = [sheet.title for sheet in sheets]
    if wanted is not None and wanted not in titles:
        raise UsageError(f"there is no sheet {shown(wanted)}; found {_listed(map(shown, titles))}")
    paths = dict.fromkeys(sheet._worksheet_path for sheet in sheets)
    extents = {path: _extent(archive, path) for path in paths}
    filled = [sheet for sheet in sheets if extents[sheet._worksheet_path].last_row]
    chosen = next((sheet for sheet in filled if wanted in (None, sheet.title)), None)
    if chosen is None:
        raise refused_table(file, "the table is empty", "give it a row of headings, and a row for each move")
    extent = extents[chosen._worksheet_path]
    if extent.last_row > MAX_ROWS or extent.last_column > MAX_COLUMNS:
        message = f"the sheet reaches over {extent.last_row} rows and {extent.last_column} columns"
        limit = f"allowed are {MAX_ROWS} rows and {MAX_COLUMNS} columns; remove what lies far from the table"
        raise refused_table(file, message, limit)
    others = [sheet.title for sheet in filled if sheet is not chosen and wanted is None]
    rows = _unmerged(list(_cells(chosen, extent)), extent.merged)
    return Sheet(
        file,
        tuple(Row(number, tuple(cells)) for number, cells in enumerate(rows, start=1)),
        tuple(_remarks(chosen.title, others, extent.hidden, Place(file, 1, 1, 1, ""))),
    )


def _cells(sheet: Any, extent: _Extent) -> Iterator[list[Cell]]:
    rows = sheet.iter_rows(max_row=extent.last_row, max_col=extent.last_column)
    # What follows the last row in the file, such as conditional formats, is not even parsed.
    for number, row in enumerate(islice(rows, extent.last_row), start=1):
        yield [
            typed_cell(
                cell.value,
                str(cell.number_format),
                is_error=cell.data_type == "e",
                is_formula=(number, column) in extent.formulas,
            )
            for column, cell in enumerate(row, start=1)
        ]


def _unmerged(rows: list[list[Cell]], merged: Iterable[str]) -> list[list[Cell]]:
    """Merged cells of one column say the same in each of their rows; others are refused where they stand."""
    from openpyxl.utils.cell import range_boundaries

    covered: set[tuple[int, int]] = set()
    for name in sorted(merged, key=range_boundaries):
        left, top, right, bottom = range_boundaries(name)
        first = rows[top - 1][left - 1] if top <= len(rows) and left <= len(rows[top - 1]) else Cell()
        if not first or (top, left) in covered:
            continue
        if right > left:
            message = f"the cells {name} are merged into one over several columns"
            fault = (message, "unmerge them, and write into each column what belongs there")
            rows[top - 1][left - 1] = Cell(first.text, fault)
            continue
        told = f"the cells {name} are merged; each of their rows is read as {shown(first.text)}"
        for number, row in enumerate(rows[top:bottom], start=top + 1):
            row[left - 1] = Cell(first.text, first.fault, told)
            covered.add((number, left))
    return rows


def _remarks(title: str, others: list[str], hidden: list[str], place: Place) -> Iterator[Diagnostic]:
    """What is in the workbook and might surprise: other sheets, hidden rows and columns."""
    if others:
        message = f"only the sheet {shown(title)} is read, not {_listed(map(shown, others))}"
        yield Diagnostic("warning", message, place, "say --sheet NAME for another")
    if hidden:
        message = f"what is hidden is read too: {_listed(hidden)}"
        yield Diagnostic("warning", message, place, "remove what does not belong to the session")


def _listed(names: Iterable[str]) -> str:
    first = list(names)
    return ", ".join(first[:_MOST_NAMED]) + (" …" if len(first) > _MOST_NAMED else "")
