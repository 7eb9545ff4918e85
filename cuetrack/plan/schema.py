"""pydantic's JSON Schema of a model → one that serves an editor: it completes, explains and checks."""

from __future__ import annotations

from typing import Any

from cuetrack.document.model import Node

HEAD = "https://json-schema.org/draft/2020-12/schema"
_NOTHING = {"type": "null"}


def schema_of(model: type[Node], title: str) -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the documents that `model` reads."""
    return {"$schema": HEAD, "title": title} | tidied(model.model_json_schema(by_alias=True))


def tidied(schema: dict[str, Any]) -> dict[str, Any]:
    """`schema` without what pydantic says of Python: titles made from names, null where a key is left out."""
    kept: dict[str, Any] = {}
    for key, value in schema.items():
        if key in {"properties", "$defs"}:  # their keys are names, not words of JSON Schema
            kept[key] = {name: tidied(inner) for name, inner in value.items()}
        elif key not in {"title", "default"} or (key == "default" and value):
            kept[key] = _tidied_value(value)
    return _without_null(kept)


def _tidied_value(value: Any) -> Any:
    if isinstance(value, list):
        return [_tidied_value(item) for item in value]
    return tidied(value) if isinstance(value, dict) else value


def _without_null(schema: dict[str, Any]) -> dict[str, Any]:
    """A key that may be left out may not be left empty; what is told of the key and its value is joined."""
    choices = schema.get("anyOf", [])
    if _NOTHING not in choices:
        return schema
    others: list[dict[str, Any]] = [choice for choice in choices if choice != _NOTHING]
    if len(others) > 1:
        return schema | {"anyOf": others}
    told = [part["description"] for part in (schema, *others) if "description" in part]
    rest = {key: value for key, value in schema.items() if key != "anyOf"}
    return others[0] | rest | ({"description": " ".join(told)} if told else {})
