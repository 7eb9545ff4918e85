"""Kinds of text that documents hold, each checked and folded: names, spoken lines, notes."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

from cuetrack.document.model import refused
from cuetrack.document.source import control_characters

NAME_LENGTH = 120
LINE_LENGTH = 500
NOTES_LENGTH = 4000


def _text_of_at_most(characters: int) -> BeforeValidator:
    def checked(value: Any) -> Any:
        if not isinstance(value, str):
            return value  # pydantic says what it found instead
        control = next(control_characters(value), None)
        if control:
            raise refused(*control[1:])
        text = re.sub(r"\s+", " ", value).strip() if characters < NOTES_LENGTH else value.strip()
        if not text:
            raise refused("nothing is written here", "write a text, or remove the line")
        if len(text) > characters:
            raise refused(f"{len(text)} characters, allowed are {characters}", "shorten the text")
        return text

    return BeforeValidator(checked)


def _text_schema(characters: int) -> WithJsonSchema:
    # Every scalar is a text here, also one that other readers of YAML take for a number.
    kinds = ["string", "number", "boolean"]
    return WithJsonSchema({"type": kinds, "minLength": 1, "maxLength": characters})


# White space inside a name or a line is folded to single spaces; notes keep their lines.
Name = Annotated[str, _text_of_at_most(NAME_LENGTH), _text_schema(NAME_LENGTH)]
Line = Annotated[str, _text_of_at_most(LINE_LENGTH), _text_schema(LINE_LENGTH)]
Notes = Annotated[str, _text_of_at_most(NOTES_LENGTH), _text_schema(NOTES_LENGTH)]
