"""A plan file, or its text → `Session`; the JSON Schema of the language."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from cuetrack.document.model import read_document
from cuetrack.document.source import Source, read_source
from cuetrack.plan.model import Session
from cuetrack.plan.schema import schema_of


def read_plan(path: Path) -> Session:
    """The session in the file `path`.

    Raises:
        PlanError: with every mistake in the file.
    """
    return read_document(read_source(path), Session)


def parse_plan(text: str, file: str = "plan") -> Session:
    """The session in `text`, reported under the name `file`; raises like `read_plan`."""
    return read_document(Source(file, text), Session)


def plan_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) for plans, from the same model that reads them."""
    return schema_of(Session, "Session plan")
