"""A session → plan text as a coach would write it: the short forms, braces for what is small, tidy."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import Any

from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.scalarstring import DoubleQuotedScalarString, LiteralScalarString

from cuetrack.document.source import MAX_SOURCE_BYTES
from cuetrack.errors import TidyError
from cuetrack.plan.model import Session, Stage
from cuetrack.plan.text import parse_plan
from cuetrack.tables.cells import PLAIN_IN_BRACES, braces_text
from cuetrack.tables.tidy import ALWAYS_IN_LINES, WIDTH, yaml_of_texts

# Begins with a letter or a digit, holds no sign that YAML reads as its own.
_PLAIN = re.compile(r"(?:[^\W_]|-(?=\d))(?:(?!: |:$| #)[^\n\r\t])*(?<! )")
# Several lines without what a block of text cannot hold: a tab, or a blank at its start.
_LINES = re.compile(r"(?! )[^\r\t]*\n[^\r\t]*(?<! )")
# What may stand alone for a mapping in which nothing else is said.
_ALONE = {"tempo": ("beat", "lift"), "every": ("interval",), "flex": ("rest",), "loudness": ("class",)}


def tidy_plan_text(session: Session, comments: Sequence[str] = ()) -> str:
    """Plan text that reads as an equal session, below `comments`, one a line.

    Raises:
        TidyError: it would be larger than a plan may be.
    """
    stream = io.StringIO()
    stream.writelines(f"# {' '.join(comment.split())}\n" for comment in comments)
    yaml_of_texts().dump(_laid_out(values_in_short(session), "", 0), stream)
    text = stream.getvalue()
    if len(text.encode()) > MAX_SOURCE_BYTES:
        raise TidyError(f"the plan would be larger than {MAX_SOURCE_BYTES // 1024} KiB; split the session")
    if parse_plan(text) != session:
        raise TidyError("the session cannot be written as a plan")
    return text


def values_in_short(session: Session) -> dict[str, Any]:
    """What the session says, as plain values in the short forms of the plan language."""
    values = session.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    return {key: _in_short(key, value) for key, value in values.items()}


def _in_short(key: str, value: Any) -> Any:
    if isinstance(value, list):
        items = [_in_short("", item) for item in value]
        if key == "stages":
            return [_short_stage(stage) for stage in items]
        return "both" if key == "sides" and items == ["left", "right"] else items
    if not isinstance(value, dict):
        return value
    alone = next(iter(value)) if len(value) == 1 else None
    if alone in _ALONE.get(key, ()):
        return value[alone]
    return {inner: _in_short(inner, item) for inner, item in value.items()}


def _short_stage(stage: dict[str, Any]) -> dict[str, Any]:
    """`{slow: 20 s}`, where the name is no key of a stage."""
    name, work = stage["stage"], stage["work"]
    if name in Stage.allowed_keys():
        return stage
    return {name: work, **{key: value for key, value in stage.items() if key not in {"stage", "work"}}}


def _laid_out(value: Any, key: str, indent: int, *, in_braces: bool = False) -> Any:
    """The value for the writer: in braces where it fits on the line of its key, else in lines."""
    if not isinstance(value, dict | list):
        return _text(str(value), in_braces=in_braces)
    fits = indent + len(key) + 2 + len(braces_text(value)) <= WIDTH
    in_braces = not value or in_braces or (fits and bool(key) and key not in ALWAYS_IN_LINES)
    written: Any
    if isinstance(value, dict):
        written = CommentedMap(
            (_text(inner, in_braces=True), _laid_out(item, inner, indent + 2, in_braces=in_braces))
            for inner, item in value.items()
        )
    else:
        written = CommentedSeq(_laid_out(item, key, indent + 4, in_braces=in_braces) for item in value)
    if in_braces:
        written.fa.set_flow_style()
    return written


def _text(text: str, *, in_braces: bool) -> Any:
    """A text, in quotes where it needs them: the library knows too few of the cases."""
    if (PLAIN_IN_BRACES if in_braces else _PLAIN).fullmatch(text):
        return text
    if not in_braces and _LINES.fullmatch(text):
        return LiteralScalarString(f"{text}\n")  # only notes have lines, and none at their end
    return DoubleQuotedScalarString(text)
