"""A plan file → `Session`; `Session` → plan text that reads the same; the JSON Schema of the language."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

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


def plan_text(session: Session) -> str:
    """`session` as plan text: what was set, in the long forms; reading it gives an equal session."""
    yaml = YAML()
    yaml.default_flow_style = False
    yaml.width = 100
    yaml.allow_unicode = True
    stream = io.StringIO()
    yaml.dump(session.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True), stream)
    return stream.getvalue()


def plan_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) for plans, from the same model that reads them."""
    return schema_of(Session, "Session plan")
