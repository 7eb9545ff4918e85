"""A session → the rows of a table: one for the session, one for each part, one for each step."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.model import Part, Session
from cuetrack.tables.cells import cell_text
from cuetrack.tables.headings import COLUMN_KEYS, KIND, MODELS

_ALWAYS = (KIND, "part", "move", "work", "rest")


def table_rows(session: Session, longest_cell: int | None = None) -> tuple[list[list[str]], list[Diagnostic]]:
    """The rows, the first of them headings; and what does not fit into `longest_cell` characters.

    Only columns that hold something are written, besides those that every table has.
    """
    values = session.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    rows, warnings = [], []
    for row, place in _located_rows(session, values):
        for key, text in list(row.items()):
            if longest_cell is not None and len(text) > longest_cell:
                del row[key]
                message = f"`{key}` has {len(text)} characters and is left out; a cell holds {longest_cell}"
                warnings.append(Diagnostic("warning", message, place, "write the table as CSV"))
        rows.append(row)
    used = {key for row in rows for key in row}
    headings = [key for key in COLUMN_KEYS if key in used or key in _ALWAYS]
    return [headings, *([row.get(key, "") for key in headings] for row in rows)], warnings


def _located_rows(session: Session, values: dict[str, Any]) -> Iterator[tuple[dict[str, str], Place | None]]:
    yield {KIND: "session", **_cells(values)}, session.place
    for part, part_values in zip(session.parts, values["parts"], strict=True):
        yield {KIND: "part", **_cells(part_values)}, part.place
        yield from _step_rows(part, part_values)


def _step_rows(part: Part, values: dict[str, Any]) -> Iterator[tuple[dict[str, str], Place | None]]:
    for step, step_values in zip(part.steps, values["steps"], strict=True):
        kind = next(key for key, model in MODELS.items() if type(step) is model)
        yield {KIND: kind, "part": cell_text("part", part.part), **_cells(step_values)}, step.place


def _cells(values: dict[str, Any]) -> dict[str, str]:
    return {key: cell_text(key, value) for key, value in values.items() if key not in {"parts", "steps"}}


def differences(session: Session, read: Session) -> list[Diagnostic]:
    """What a table that was read back says otherwise than the session it was made from."""
    found = []
    pairs: list[tuple[Any, Any, str]] = [(session, read, "the session")]
    if len(session.parts) == len(read.parts):
        for part, other in zip(session.parts, read.parts, strict=True):
            pairs.append((part, other, f"the part {part.part!r}"))
            steps = zip(part.steps, other.steps, strict=False) if len(part.steps) == len(other.steps) else ()
            pairs += [(step, twin, f"a step of the part {part.part!r}") for step, twin in steps]
    for node, other, what in pairs:
        for name, value in node.__dict__.items():
            if name in {"parts", "steps"}:
                changed = len(value) != len(getattr(other, name, ()))
            else:
                changed = value != getattr(other, name, None)
            if changed:
                key = type(node).model_fields[name].alias or name
                message = f"the table cannot hold `{key}` of {what}; read back it says something else"
                found.append(Diagnostic("warning", message, node.place_of(key)))
    return found
