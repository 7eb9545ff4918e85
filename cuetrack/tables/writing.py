"""A session → the rows of a table: one for the session, one for each part, one for each step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import zip_longest
from typing import Any

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.model import Session
from cuetrack.tables.cells import cell_text
from cuetrack.tables.headings import COLUMN_KEYS, KIND, MODELS
from cuetrack.tables.plan_writing import values_in_short

_ALWAYS = (KIND, "part", "move", "work", "rest")


def table_rows(session: Session, longest_cell: int | None = None) -> tuple[list[list[str]], list[Diagnostic]]:
    """The rows, the first of them headings; and what does not fit into `longest_cell` characters.

    Only columns that hold something are written, besides those that every table has.
    """
    rows, warnings = [], []
    for row, place in _located_rows(session):
        for key, text in list(row.items()):
            if longest_cell is not None and len(text) > longest_cell:
                del row[key]
                message = f"`{key}` has {len(text)} characters and is left out; a cell holds {longest_cell}"
                warnings.append(Diagnostic("warning", message, place, "write the table as CSV"))
        rows.append(row)
    used = {key for row in rows for key in row}
    headings = [key for key in COLUMN_KEYS if key in used or key in _ALWAYS]
    return [headings, *([row.get(key, "") for key in headings] for row in rows)], warnings


def _located_rows(session: Session) -> Iterator[tuple[dict[str, str], Place | None]]:
    values = values_in_short(session)
    yield _row("session", values), session.place
    for part, part_values in zip(session.parts, values["parts"], strict=True):
        yield _row("part", part_values), part.place
        for step, step_values in zip(part.steps, part_values["steps"], strict=True):
            kind = next(key for key, model in MODELS.items() if type(step) is model)
            yield _row(kind, {"part": part.part, **step_values}), step.place


def _row(kind: str, values: Mapping[str, Any]) -> dict[str, str]:
    cells = {key: cell_text(key, value) for key, value in values.items() if key not in {"parts", "steps"}}
    return {KIND: kind, **cells}


def losses(session: Session, read: Session) -> Iterator[Diagnostic]:
    """What a table that was read back says otherwise than the session it was made from."""
    nothing: tuple[dict[str, str], Place | None] = ({}, None)
    pairs = zip_longest(_located_rows(session), _located_rows(read), fillvalue=nothing)
    lost = [
        (row, place, key) for (row, place), (again, _) in pairs for key in row if row[key] != again.get(key)
    ]
    for row, place, key in lost:
        message = f"the table does not give back `{key}` of this {row[KIND]}"
        yield Diagnostic("warning", message, place, "keep the plan as well")
    if not lost and read != session:
        message = "the table, read again, is another session"
        yield Diagnostic("warning", message, session.place, "keep the plan as well")
