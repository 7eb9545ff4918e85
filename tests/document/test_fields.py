"""Kinds of text: what is folded, what is kept, what is too long."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from cuetrack.document.fields import LINE_LENGTH, NAME_LENGTH, NOTES_LENGTH, Line, Name, Notes

KINDS = [(Name, NAME_LENGTH), (Line, LINE_LENGTH), (Notes, NOTES_LENGTH)]


def read(kind: Any, value: object) -> Any:
    return TypeAdapter(kind).validate_python(value)


def test_white_space_in_names_and_lines_is_folded_and_notes_keep_their_lines() -> None:
    written = "  Sit\u00a0tall,\n\n  elbows\tclose. \n"
    assert read(Name, written) == read(Line, written) == "Sit tall, elbows close."
    assert read(Notes, written) == "Sit\u00a0tall,\n\n  elbows\tclose."


@pytest.mark.parametrize(("kind", "longest"), KINDS)
def test_length_is_counted_in_characters_after_folding(kind: Any, longest: int) -> None:
    assert read(kind, "漢" * longest + "  \n") == "漢" * longest
    with pytest.raises(ValidationError, match=f"{longest + 1} characters, allowed are {longest}"):
        read(kind, "漢" * (longest + 1))


@pytest.mark.parametrize(("kind", "longest"), KINDS)
@pytest.mark.parametrize("value", ["", " ", "\n\t", "\u00a0"])
def test_text_that_says_nothing(kind: Any, longest: int, value: str) -> None:
    with pytest.raises(ValidationError, match="nothing is written here"):
        read(kind, value)


@pytest.mark.parametrize(("kind", "longest"), KINDS)
@pytest.mark.parametrize("character", ["\x00", "\x07", "\x1f", "\x85", "\u2028", "\u2029", "\ufeff"])
def test_control_characters_are_refused_even_where_they_would_be_folded(
    kind: Any, longest: int, character: str
) -> None:
    with pytest.raises(ValidationError, match=f"control character U\\+{ord(character):04X} in the text"):
        read(kind, f"a{character}b")


@pytest.mark.parametrize("value", [3, None, ["a"], {"a": "b"}])
def test_what_is_no_text(value: object) -> None:
    with pytest.raises(ValidationError):
        read(Name, value)
