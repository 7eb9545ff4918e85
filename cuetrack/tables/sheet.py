"""A table as rows of cells, whatever file it came from; each cell can say where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from cuetrack.errors import Diagnostic, Place, PlanError

# Far above any session; low enough that no file keeps the reader busy for long.
MAX_TABLE_BYTES = 1024 * 1024
# The plan that a table becomes may not be larger (`document/source.py`).
MAX_CHARACTERS = 256 * 1024
MAX_ROWS = 2000
MAX_COLUMNS = 100
_SHOWN_CELL = 60


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


@dataclass(frozen=True)
class Row:
    """One row; `number` counts from 1, as spreadsheets do."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """The cell in `column`, counted from 0; an empty one behind the last."""
        return self.cells[column] if column < len(self.cells) else Cell()

    def __bool__(self) -> bool:
        return any(self.cells)

    @cached_property
    def shown(self) -> tuple[str, ...]:
        """Each cell as a message shows it."""
        return tuple(shown_cell(cell.text) for cell in self.cells)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table: the name it is reported under, its rows, and what was noticed while it was read."""

    file: str
    rows: tuple[Row, ...]
    warnings: tuple[Diagnostic, ...] = ()

    def __post_init__(self) -> None:
        """Refuses more text than a plan may hold."""
        total = sum(len(cell.text) for row in self.rows for cell in row.cells)
        if total > MAX_CHARACTERS:
            message = f"the table holds {total} characters, allowed are {MAX_CHARACTERS}"
            raise refused_table(self.file, message, "keep one session in one table")

    def filled(self) -> Iterator[Row]:
        """The rows in which something stands."""
        return (row for row in self.rows if row)

    def place(self, row: Row, column: int | None = None) -> Place:
        """Where a cell (or a whole row) stands: the line is the row's number, the text is the row."""
        line = " | ".join(row.shown).rstrip(" |")
        if column is None:
            return Place(self.file, row.number, 1, max(1, len(line)), line)
        before = sum(len(text) + 3 for text in row.shown[:column])
        length = len(row.shown[column]) if column < len(row.shown) else 0
        return Place(self.file, row.number, before + 1, max(1, length), line.ljust(before + 1))


def shown_cell(text: str) -> str:
    """A cell's text on one line, not too long, without signs that a terminal might obey."""
    folded = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
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
