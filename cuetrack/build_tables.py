"""Plan files ↔ table files, and the tidy form of a plan file: what the commands do, without printing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cuetrack.document.source import read_source
from cuetrack.errors import Diagnostic, PlanError, TidyError, UsageError
from cuetrack.plan.model import MoveStep, Session
from cuetrack.plan.text import parse_plan
from cuetrack.tables.csv_reading import csv_sheet
from cuetrack.tables.csv_writing import csv_bytes
from cuetrack.tables.headings import mapped_columns
from cuetrack.tables.plan_writing import tidy_plan_text
from cuetrack.tables.reading import columns_of, session_of
from cuetrack.tables.sheet import MAX_TABLE_BYTES, Sheet, refused_table, shown_cell
from cuetrack.tables.tidy import comments, tidied_text
from cuetrack.tables.writing import losses, table_rows
from cuetrack.tables.xlsx_reading import xlsx_sheet
from cuetrack.tables.xlsx_writing import LONGEST_CELL, xlsx_bytes
from cuetrack.writers.atomic import atomic_files

ENDINGS = (".csv", ".xlsx")
_CAUTIONS = (
    "A cue track is no medical advice. Warm up; stop at pain or dizziness; breathe through holds;",
    "follow local rules and licensed professionals; keep the playback level safe.",
)


@dataclass(frozen=True, slots=True)
class Moved:
    """What became of a plan or a table: the session, and what was noticed on the way."""

    session: Session
    warnings: tuple[Diagnostic, ...]

    def counts(self) -> tuple[int, int, int]:
        """Parts, moves, and other steps."""
        steps = [step for part in self.session.parts for step in part.steps]
        moves = sum(isinstance(step, MoveStep) for step in steps)
        return len(self.session.parts), moves, len(steps) - moves


def import_table(
    table: Path,
    plan: Path,
    *,
    columns: Sequence[str] = (),
    sheet: str | None = None,
    replace: bool = False,
    allow_outside: bool = False,
) -> Moved:
    """Writes the session in `table` to `plan`; if a row cannot be read, nothing is written.

    Unless `allow_outside`, no link in the folder of `table` may lead the plan out of it.

    Raises:
        PlanError: with every row that cannot be read.
        UsageError: the endings or the options are wrong, or `plan` is there already.
        TableMissingError: XLSX cannot be read on this machine.
    """
    if plan.suffix.lower() in ENDINGS:
        raise UsageError(f"{plan} has the name of a table; a plan ends with .yaml")
    _refuse_existing(plan, replace)
    moved = read_table(table, columns=columns, sheet=sheet)
    text = tidy_plan_text(moved.session, (f"Made from {shown_cell(table.name)}.", *_CAUTIONS))
    with atomic_files(plan, strange=None if allow_outside else table.parent) as (temporary,):
        temporary.write_text(text, encoding="utf-8", newline="\n")
    return moved


def read_table(table: Path, *, columns: Sequence[str] = (), sheet: str | None = None) -> Moved:
    """The session in a table file; raises like `import_table`."""
    ending = _ending(table)
    if sheet is not None and ending == ".csv":
        raise UsageError("--sheet is for XLSX; a CSV file holds one table")
    data = _table_bytes(table)
    return session_in_table(data, str(table), ending, columns=columns, sheet=sheet, name=table.stem)


def session_in_table(
    data: bytes,
    file: str,
    ending: str,
    *,
    columns: Sequence[str] = (),
    sheet: str | None = None,
    name: str = "Session",
) -> Moved:
    """The session in the bytes of a table file, reported under the name `file`."""
    mapped = mapped_columns(columns)
    table: Sheet = csv_sheet(data, file, mapped) if ending == ".csv" else xlsx_sheet(data, file, sheet)
    session, warnings = session_of(table, columns_of(table, mapped), name)
    return Moved(session, (*table.warnings, *warnings))


def export_plan(plan: Path, table: Path, *, replace: bool = False, allow_outside: bool = False) -> Moved:
    """Writes the plan to `table`; what the table cannot hold is in the warnings.

    Unless `allow_outside`, no link in the folder of `plan` may lead the table out of it.

    Raises:
        PlanError: the plan has mistakes.
        UsageError: the ending is wrong, or `table` is there already.
        TableMissingError: XLSX cannot be written on this machine.
    """
    ending = _ending(table)
    _refuse_existing(table, replace)
    text = read_source(plan).text
    session = parse_plan(text, str(plan))
    data, warnings = table_bytes(session, ending)
    number = len(comments(text))
    if number:
        message = f"a table holds no comments; the plan has {'one' if number == 1 else number}"
        warnings = (*warnings, Diagnostic("warning", message, None, "keep the plan as well"))
    with atomic_files(table, strange=None if allow_outside else plan.parent) as (temporary,):
        temporary.write_bytes(data)
    return Moved(session, warnings)


def table_bytes(session: Session, ending: str) -> tuple[bytes, tuple[Diagnostic, ...]]:
    """The session as a table file; it is read back, and what it does not give back is told."""
    rows, warnings = table_rows(session, LONGEST_CELL if ending == ".xlsx" else None)
    data = csv_bytes(rows) if ending == ".csv" else xlsx_bytes(rows, session.session)
    try:
        read = session_in_table(data, "table", ending).session
    except PlanError as error:
        told = (
            Diagnostic("warning", f"read back: {found.message}", None, found.hint)
            for found in error.diagnostics
        )
        return data, (*warnings, *told)
    return data, (*warnings, *(() if warnings else losses(session, read)))


def tidy_plan(plan: Path, *, only_check: bool = False, allow_outside: bool = False) -> bool:
    """Writes a plan, a house style or a series in its tidy form; whether that differs from what stood there.

    With `only_check` nothing is written; nor through a link out of its folder, unless `allow_outside`.

    Raises:
        PlanError: it has mistakes.
        TidyError: the tidy form would lose something, or the file was changed meanwhile.
    """
    source = read_source(plan)
    tidied = tidied_text(source.text, source.file)
    changed = plan.read_bytes() != tidied.encode()
    if changed and not only_check:
        with atomic_files(plan, strange=None if allow_outside else plan.parent) as (temporary,):
            temporary.write_text(tidied, encoding="utf-8", newline="\n")
            if read_source(plan) != source:
                raise TidyError(f"{plan} was changed meanwhile; it is left as it is: try again")
    return changed


def _ending(table: Path) -> str:
    ending = table.suffix.lower()
    if ending not in ENDINGS:
        found = f"{table.name} ends with {ending}" if ending else f"{table.name} has no ending"
        raise UsageError(f"{found}; a table ends with .csv or .xlsx")
    return ending


def _refuse_existing(path: Path, replace: bool) -> None:
    if path.exists() and not replace:
        raise UsageError(f"{path} is there already; choose another name, or say --replace")


def _table_bytes(table: Path) -> bytes:
    try:
        if not table.is_file():
            what = "this is no ordinary file" if table.exists() else "no such file"
            what = "this is a folder" if table.is_dir() else what
            raise refused_table(str(table), what, "name a CSV or XLSX file")
        with table.open("rb") as file:
            data = file.read(MAX_TABLE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refused_table(str(table), f"cannot be read: {reason}", "name a CSV or XLSX file") from None
    if len(data) > MAX_TABLE_BYTES:
        limit = f"a table is at most {MAX_TABLE_BYTES // 1024**2} MiB; copy it alone into a new file"
        raise refused_table(str(table), f"larger than {MAX_TABLE_BYTES // 1024**2} MiB", limit)
    return data
