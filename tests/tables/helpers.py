"""Tables for tests, and what is said about them."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl

from cuetrack.build_tables import Moved, session_in_table
from cuetrack.errors import PlanError


def read(table: str | bytes, *columns: str, sheet: str | None = None) -> Moved:
    """The session in a CSV text, or in the bytes of a file of either kind."""
    data = table.encode() if isinstance(table, str) else table
    ending = ".xlsx" if data.startswith(b"PK") else ".csv"
    return session_in_table(data, f"table{ending}", ending, columns=columns, sheet=sheet, name="table")


def faults(table: str | bytes, *columns: str) -> list[str]:
    """What is said of a table that cannot be read."""
    try:
        read(table, *columns)
    except PlanError as error:
        return [f"{found.message} / {found.hint}" for found in error.diagnostics]
    raise AssertionError("the table was read")


def workbook(rows: Sequence[Sequence[Any]], change: Callable[[Any], None] | None = None) -> bytes:
    """A workbook of one sheet, as a spreadsheet program may save it."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(list(row))
    if change:
        change(book.active)
    return saved(book)


def saved(book: Any) -> bytes:
    """The bytes of a workbook."""
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def with_member(data: bytes, name: str, content: bytes | Callable[[bytes], bytes]) -> bytes:
    """The workbook with one file in it replaced or added."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            if member != name:
                new.writestr(member, old.read(member))
            elif callable(content):
                new.writestr(member, content(old.read(member)))
        if not callable(content):
            new.writestr(name, content)
    return stream.getvalue()


def seen_comments(text: str) -> list[str]:
    """The comments of a text without a ` #` in any of its values, as the samples and cases are."""
    return [found.strip() for found in re.findall(r"(?:^|(?<=\s))#.*", text, re.MULTILINE)]
