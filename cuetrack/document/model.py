"""Located values → a pydantic model, with every mistake reported at its own line and column.

`Node` is the base of every model: it refuses unknown keys with the nearest known one as the hint and
keeps the place of each value, so that a fault found much later still points at the line.
"""

from __future__ import annotations

from typing import Any, ClassVar, TypeVar

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

from cuetrack.document.findings import findings
from cuetrack.document.located import LocatedMap, Report, parse_located, shown
from cuetrack.document.source import Source, check_characters
from cuetrack.errors import Diagnostic, Place, PlanError, did_you_mean

_N = TypeVar("_N", bound="Node")


def _follows_comma(data: LocatedMap, key: str) -> bool:
    """Whether it has no value and follows a comma, as the rest of the text in `{say: Go on, please.}`."""
    place = data.key_places[key]
    return data[key] in (None, "") and place.line_text[: place.column - 1].rstrip().endswith(",")


_MERGE_KEY_HINT = "YAML 1.2 merges nothing; write the keys out"


def refused(message: str, hint: str | None = None) -> PydanticCustomError:
    """The error for a validator to raise: what was found, and what to do next."""
    # Braces would be read as a template by pydantic.
    return PydanticCustomError("refused", "{message}", {"message": message, "hint": hint})


class Node(BaseModel):
    """A mapping of a document: immutable, without unknown keys, aware of its places."""

    # How one is written, for the hint where something else is found.
    example: ClassVar[str] = "`key: value`"

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, serialize_by_alias=True)

    _place: Place | None = PrivateAttr(default=None)
    _value_places: dict[str, Place] = PrivateAttr(default_factory=dict)

    @model_validator(mode="wrap")
    @classmethod
    def _keep_places(cls, data: Any, handler: ModelWrapValidatorHandler[_N], info: ValidationInfo) -> _N:
        if isinstance(data, cls) or (isinstance(data, dict) and not isinstance(data, LocatedMap)):
            return handler(data)
        if not isinstance(data, LocatedMap):
            raise PydanticCustomError("not_a_mapping", "write it like {example}", {"example": cls.example})
        report: Report = info.context["report"] if info.context else _raise_at_once
        data = cls.prepared(data, report)
        known = cls.allowed_keys()
        unknown = [key for key in data if key not in known]
        for key in unknown:
            hint = _MERGE_KEY_HINT if key == "<<" else did_you_mean(key[:40], known)
            if _follows_comma(data, key) and not hint.startswith("did you mean"):
                hint = f"put a text with a comma into quotes where it stands in {{ }}; else {hint}"
            report(Diagnostic("error", f"unknown key {shown(key)}", data.key_places[key], hint))
        node = handler(data.without(frozenset(unknown)))
        node._place, node._value_places = data.place, data.value_places
        return node

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """`data` in its long form; faults that concern several keys go to `report`."""
        return data

    @classmethod
    def hint_if_empty(cls) -> str:
        """What to do where a file that should hold one is empty."""
        return f"write it like {cls.example}"

    @classmethod
    def allowed_keys(cls) -> tuple[str, ...]:
        """The keys as a coach writes them."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())

    def __eq__(self, other: object) -> bool:
        """Equal when all fields are; where they stand in a file does not matter."""
        return type(self) is type(other) and self.__dict__ == other.__dict__

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
    root = parse_located(source, found.append, model.hint_if_empty())
    node = None
    try:
        node = model.model_validate(root.value, context={"report": found.append})
    except ValidationError as error:
        found += findings(error, root, tuple(found))
    if found or node is None:
        raise PlanError(dict.fromkeys(found))
    return node
