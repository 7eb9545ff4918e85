"""A table as rows of cells, whatever file it came from; each cell can say where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cuetrack.errors import CuetrackError, Diagnostic, ExitCode, Place, PlanError

# Far above any session; low enough that no file keeps the reader busy for long.
MAX_TABLE_BYTES = 1024 * 1024
MAX_ROWS = 3000
MAX_COLUMNS = 100
_SHOWN_CELL = 60


class TableMissingError(CuetrackError):
    """What reads and writes XLSX is not on this machine."""

    exit_code = ExitCode.MACHINE_LACKS


@dataclass(frozen=True, slots=True)
class Cell:
    """What a cell shows, blanks at its ends removed.

    `fault` (message and hint) says why it cannot be used; `remark` what had to be understood to use it.
    """

    text: str = ""
    fault: tuple[str, str] | None = None
    remark: str | None = None

    def __bool__(self) -> bool:
        return bool(self.text) or self.fault is not None


@dataclass(frozen=True, slots=True)
class Row:
    """One row; `number` counts from 1, as spreadsheets do."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """The cell in `column`, counted from 0; an empty one behind the last."""
        return self.cells[column] if column < len(self.cells) else Cell()

    def __bool__(self) -> bool:
        return any(self.cells)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table: the name it is reported under, its rows, and what was noticed while it was read."""

    file: str
    rows: tuple[Row, ...]
    warnings: tuple[Diagnostic, ...] = ()

    def filled(self) -> Iterator[Row]:
        """The rows in which something stands."""
        return (row for row in self.rows if row)

    def place(self, row: Row, column: int | None = None) -> Place:
        """Where a cell (or a whole row) stands: the line is the row's number, the text is the row."""
        texts = [shown_cell(cell.text) for cell in row.cells]
        line = " | ".join(texts).rstrip(" |")
        if column is None:
            return Place(self.file, row.number, 1, max(1, len(line)), line)
        before = sum(len(text) + 3 for text in texts[:column])
        shown = texts[column] if column < len(texts) else ""
        return Place(self.file, row.number, before + 1, max(1, len(shown)), line.ljust(before + 1))


def shown_cell(text: str) -> str:
    """A cell's text on one line, not too long."""
    folded = " ".join(text.split())
    return folded if len(folded) <= _SHOWN_CELL else folded[: _SHOWN_CELL - 1] + "…"


def column_letter(column: int) -> str:
    """The letters a spreadsheet heads `column` with, counted from 0.

    >>> column_letter(0), column_letter(25), column_letter(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def refused_table(file: str, message: str, hint: str, row: int = 1) -> PlanError:
    """The error about a file that is no table we can read."""
    return PlanError([Diagnostic("error", message, Place(file, row, 1, 1, ""), hint)])
