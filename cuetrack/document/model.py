"""Located values → a pydantic model, with every mistake reported at its own line and column.

`Node` is the base of every model: it refuses unknown keys with the nearest known one as the hint and
keeps the place of each key and value, so that a fault found much later still points at the line.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    ModelWrapValidatorHandler,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
    model_validator,
)
from pydantic_core import PydanticCustomError

from cuetrack.document.located import Located, LocatedList, LocatedMap, Report, parse_located
from cuetrack.document.source import Source, check_characters
from cuetrack.errors import Diagnostic, Place, PlanError, did_you_mean

_N = TypeVar("_N", bound="Node")


def refused(message: str, hint: str | None = None) -> PydanticCustomError:
    """The error for a validator to raise: what was found, and what to do next."""
    # Braces would be read as a template by pydantic.
    return PydanticCustomError("refused", "{message}", {"message": message, "hint": hint})


class Node(BaseModel):
    """A mapping of a document: immutable, without unknown keys, aware of its places."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, serialize_by_alias=True)

    _place: Place | None = PrivateAttr(default=None)
    _key_places: dict[str, Place] = PrivateAttr(default_factory=dict)
    _value_places: dict[str, Place] = PrivateAttr(default_factory=dict)

    @model_validator(mode="wrap")
    @classmethod
    def _keep_places(cls, data: Any, handler: ModelWrapValidatorHandler[_N], info: ValidationInfo) -> _N:
        if not isinstance(data, LocatedMap):
            return handler(data)
        report: Report = info.context["report"] if info.context else _raise_at_once
        data = cls.prepared(data, report)
        known = cls.allowed_keys()
        unknown = [key for key in data if key not in known]
        for key in unknown:
            hint = did_you_mean(key, known)
            report(Diagnostic("error", f"unknown key {key!r}", data.key_places[key], hint))
        node = handler({key: value for key, value in data.items() if key in known})
        node._place, node._key_places, node._value_places = (
            data.place,
            data.key_places,
            data.value_places,
        )
        return node

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """`data` in its long form; faults that concern several keys go to `report`."""
        return data

    @classmethod
    def allowed_keys(cls) -> tuple[str, ...]:
        """The keys as a coach writes them."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())

    def __eq__(self, other: object) -> bool:
        """Equal when all fields are; where they stand in a file does not matter."""
        return type(self) is type(other) and self.__dict__ == other.__dict__

    __hash__ = None  # type: ignore[assignment]  # nodes are compared, never looked up

    @property
    def place(self) -> Place | None:
        """Where this mapping begins, or None if it was made by a program."""
        return self._place

    def place_of(self, key: str) -> Place | None:
        """Where the value of `key` (as written) stands; the mapping's own place if it is not written."""
        return self._value_places.get(key, self._place)


def _raise_at_once(diagnostic: Diagnostic) -> None:
    raise PlanError([diagnostic])


def read_document(source: Source, model: type[_N]) -> _N:
    """The validated `model` in `source`.

    Raises:
        PlanError: with every mistake found, in the order of the lines.
    """
    check_characters(source)
    found: list[Diagnostic] = []
    root = parse_located(source, found.append)
    node = None
    try:
        node = model.model_validate(root.value, context={"report": found.append})
    except ValidationError as error:
        details = error.errors(include_url=False)
        found += [_diagnostic(detail, root) for detail in details if not _follows(detail, found)]
    except RecursionError:
        found.append(Diagnostic("error", "nested too deeply", root.place))
    if found or node is None:
        raise PlanError(sorted(dict.fromkeys(found), key=_by_position))
    return node


def _by_position(diagnostic: Diagnostic) -> tuple[int, int]:
    place = diagnostic.place
    return (place.line, place.column) if place else (0, 0)


def _follows(detail: Any, found: Iterable[Diagnostic]) -> bool:
    """Whether a finding only follows from another one that is reported already."""
    if detail["type"] == "too_short":
        return bool(detail["input"])  # the items are there, each with its own fault
    if detail["type"] == "missing":
        hint = did_you_mean(str(detail["loc"][-1]), (str(detail["loc"][-1]),))
        places = getattr(detail["input"], "key_places", {}).values()
        return any(other.hint == hint and other.place in places for other in found)
    return False


def _diagnostic(detail: Any, root: Located) -> Diagnostic:
    """One of pydantic's findings in our words, at the place it is about."""
    location, context = detail["loc"], detail.get("ctx") or {}
    place, name = _place_at(location, root)
    kind, value = detail["type"], detail["input"]
    if kind == "refused":
        return Diagnostic("error", context["message"], place, context["hint"])
    if kind == "missing":
        key = str(location[-1])
        return Diagnostic("error", f"{key!r} is missing", place, f"add a line `{key}: …`")
    if kind == "literal_error":
        words = [word.strip("'") for word in str(context["expected"]).replace(" or ", ", ").split(", ")]
        return Diagnostic(
            "error", f"{name} cannot be {_shown(value)}", place, did_you_mean(str(value), words)
        )
    return Diagnostic("error", *_type_message(kind, context, name, value, place))


def _type_message(
    kind: str, context: Any, name: str, value: object, place: Place
) -> tuple[str, Place, str | None]:
    found = _shown(value)
    if kind in {"model_type", "model_attributes_type", "dict_type"}:
        return (
            f"{name} has to be a mapping, found {found}",
            place,
            "write `key: value` lines under it",
        )
    if kind in {"list_type", "tuple_type"}:
        return f"{name} has to be a list, found {found}", place, "write `- item` lines under it"
    if kind in {"int_parsing", "int_type", "int_from_float", "int_parsing_size"}:
        return f"{name} has to be a whole number, found {found}", place, None
    if kind == "string_type":
        return f"{name} has to be a text, found {found}", place, None
    limits = {
        "greater_than_equal": ("at least", "ge"),
        "greater_than": ("more than", "gt"),
        "less_than_equal": ("at most", "le"),
        "less_than": ("less than", "lt"),
    }
    if kind in limits:
        words, key = limits[kind]
        return f"{name} is {found}, allowed is {words} {context[key]}", place, None
    if kind == "too_long":
        return f"{name} has more than {context['max_length']} items", place, None
    if kind == "too_short":
        return f"{name} is empty", place, "give at least one item"
    return f"{name}: {found} is not allowed here", place, None


def _shown(value: object) -> str:
    if isinstance(value, LocatedMap | dict):
        return "a mapping"
    if isinstance(value, LocatedList | list | tuple):
        return "a list"
    text = str(value)
    if not text:
        return "nothing"
    return repr(text if len(text) <= 40 else text[:39] + "…")


def _place_at(location: Iterable[str | int], root: Located) -> tuple[Place, str]:
    """The place that pydantic's location leads to, and the name of what stands there.

    Names of union members in the location match no key and are passed over.
    """
    value: object = root.value
    place, name = root.place, "the document"
    if isinstance(value, LocatedMap):
        place = value.place
    for step in location:
        if isinstance(value, LocatedMap) and step in value:
            key = str(step)
            place, value = value.value_places[key], value[key]
            name = repr(key)
        elif isinstance(value, LocatedList) and isinstance(step, int) and step < len(value):
            place, value = value.item_places[step], value[step]
            name = f"item {step + 1}"
    return place, name
