"""pydantic's findings about a document → diagnostics in our words, each at the place it is about."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import ValidationError

from cuetrack.document.located import Located, LocatedList, LocatedMap, shown
from cuetrack.errors import Diagnostic, Place, did_you_mean

_LIMITS = {
    "greater_than_equal": ("at least", "ge"),
    "greater_than": ("more than", "gt"),
    "less_than_equal": ("at most", "le"),
    "less_than": ("less than", "lt"),
}
_NOT_A_LIST = {"list_type", "tuple_type"}
_NOT_WHOLE = {"int_parsing", "int_type", "int_from_float", "int_parsing_size"}
_COMMENT = re.compile(r"^[^:]*:?\s*#")


def findings(error: ValidationError, root: Located, reported: Iterable[Diagnostic]) -> Iterator[Diagnostic]:
    """What `error` found in `root`, without what only follows from the `reported` findings."""
    known = {(diagnostic.hint, diagnostic.place) for diagnostic in reported}
    for detail in error.errors(include_url=False):
        if not _follows(detail, known):
            yield _diagnostic(detail, root)


def _follows(detail: Any, known: set[tuple[str | None, Place | None]]) -> bool:
    if detail["type"] == "too_short":
        return bool(detail["input"])  # the items are there, each with its own fault
    if detail["type"] == "missing":
        key = str(detail["loc"][-1])
        places = getattr(detail["input"], "key_places", {}).values()
        return any((did_you_mean(key, (key,)), place) in known for place in places)
    return False


def _diagnostic(detail: Any, root: Located) -> Diagnostic:
    location, context = detail["loc"], detail.get("ctx") or {}
    place, name = _place_at(location, root)
    kind, value = detail["type"], detail["input"]
    if kind == "missing":
        key = str(location[-1])
        return Diagnostic("error", f"{key!r} is missing", place, f"add a line `{key}: …`")
    if value == "":
        advice = "write a value; a key that is not needed can be left out"
        if _COMMENT.search(place.line_text[place.column - 1 :]):
            advice = "# begins a comment here; put a text that holds it into quotes"
        return Diagnostic("error", "nothing is written here", place, advice)
    if kind == "refused":
        return Diagnostic("error", context["message"], place, context["hint"])
    if kind == "literal_error":
        words = [word.strip("'") for word in str(context["expected"]).replace(" or ", ", ").split(", ")]
        nearest = did_you_mean(str(value)[:40], words)
        return Diagnostic("error", f"{name} cannot be {shown(value)}", place, nearest)
    message, hint = _type_message(kind, context, name, shown(value))
    return Diagnostic("error", message, place, hint)


def _type_message(kind: str, context: Any, name: str, found: str) -> tuple[str, str | None]:
    """Message and hint for a value of the wrong kind or size."""
    if kind == "not_a_mapping":
        return f"{name} has to be `key: value` lines, found {found}", f"write it like {context['example']}"
    if kind == "dict_type":
        return f"{name} has to be `key: value` lines, found {found}", "write it like `{key: value}`"
    if kind in _NOT_A_LIST:
        like = "; or write it like [{slow: 20s}, {steady: 20s}]" if name == "'stages'" else ""
        return (
            f"{name} has to be a list, found {found}",
            f"begin each item with a dash and a space: `- item`{like}",
        )
    if kind in _NOT_WHOLE:
        return f"{name} has to be a whole number, found {found}", "write a number such as 2"
    if kind == "string_type":
        return f"{name} has to be a text, found {found}", "put a text that begins with [ or { into quotes"
    if kind in _LIMITS:
        words, key = _LIMITS[kind]
        return f"{name} is {found}, allowed is {words} {context[key]}", None
    if kind == "too_long":
        return f"{name} has more than {context['max_length']} items", "write fewer, or split the plan"
    if kind == "too_short":
        return f"{name} is empty", "give at least one item"
    return f"{name} cannot be {found}", None


def _place_at(location: Iterable[str | int], root: Located) -> tuple[Place, str]:
    """The place that pydantic's location leads to, and the name of what stands there.

    Names of union members in the location match no key and are passed over; behind a key that is itself
    at fault stands "[key]".
    """
    value: object = root.value
    place, name = root.place, "the document"
    key_place = place
    if isinstance(value, LocatedMap):
        place = value.place
    for step in location:
        if isinstance(value, LocatedMap) and step in value:
            key = str(step)
            key_place, place, value = value.key_places[key], value.value_places[key], value[key]
            name = repr(key)
        elif isinstance(value, LocatedList) and isinstance(step, int) and step < len(value):
            place, value = value.item_places[step], value[step]
            name = f"item {step + 1} of {name}"
        elif step == "[key]":
            place = key_place
    return place, name
