"""A session → plan text as a coach would write it: short forms, braces for what is small, the tidy form."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from typing import Any

from cuetrack.plan.model import Session, Stage
from cuetrack.tables.cells import braces_text
from cuetrack.tables.tidy import WIDTH, tidied_plan

# Begins with a letter or a digit, holds no sign that YAML reads as its own.
_PLAIN = re.compile(r"(?:[^\W_]|-(?=\d))(?:(?!: |:$| #)[^\n\r\t])*(?<! )")
_PLAIN_KEY = re.compile(r"[^\W_](?:(?!:| #)[^\n\r\t])*(?<! )")


def tidy_plan_text(session: Session, comments: Sequence[str] = ()) -> str:
    """Plan text that reads as an equal session, below `comments`, one a line.

    Raises:
        UntidyError: it would be larger than a plan may be.
    """
    values = session.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    lines = [*(f"# {' '.join(comment.split())}" for comment in comments), *_lines(values, 0)]
    return tidied_plan("\n".join(lines) + "\n", session.session)


def _lines(values: dict[str, Any], indent: int) -> Iterator[str]:
    for key, value in values.items():
        yield from _entry(f"{' ' * indent}{_key(key)}:", _short(key, value), indent, key)


def _entry(head: str, value: Any, indent: int, key: str = "") -> Iterator[str]:
    """One key or item: on one line if it fits there, else in lines below it."""
    if not isinstance(value, dict | list):
        yield from _text_lines(head, str(value), indent)
        return
    braces = braces_text(value)
    if key not in {"parts", "steps"} and (not value or len(head) + 1 + len(braces) <= WIDTH):
        yield f"{head} {braces}"
    elif isinstance(value, dict):
        yield head
        yield from _lines(value, indent + 2)
    else:
        yield head
        for item in value:
            if key in {"parts", "steps"}:
                first, *others = _lines(item, indent + 4)
                yield f"{' ' * (indent + 2)}- {first.lstrip()}"
                yield from others
            else:
                yield f"{' ' * (indent + 2)}- {braces_text(item)}"


def _short(key: str, value: Any) -> Any:
    """Both sides as one word; stages as `{slow: 20 s}`, where the name is no key of a stage."""
    if key == "sides" and value == ["left", "right"]:
        return "both"
    if key != "stages":
        return value
    keys = Stage.allowed_keys()
    return [
        {stage["stage"]: stage["work"], **{k: v for k, v in stage.items() if k not in {"stage", "work"}}}
        if stage["stage"] not in keys
        else stage
        for stage in value
    ]


def _key(key: str) -> str:
    return key if _PLAIN_KEY.fullmatch(key) else json.dumps(key, ensure_ascii=False)


def _text_lines(head: str, text: str, indent: int) -> Iterator[str]:
    lines = text.split("\n")
    if _PLAIN.fullmatch(text):
        yield f"{head} {text}"
    elif len(lines) > 1 and "\r" not in text and "\t" not in text and not text[:1].isspace():
        yield f"{head} |"
        yield from (" " * (indent + 2) + line if line else "" for line in lines)
    else:
        yield f"{head} {json.dumps(text, ensure_ascii=False)}"
