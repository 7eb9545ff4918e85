"""Every key of the three documents is explained and shown by examples, which schema and reader accept."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft7Validator, Draft202012Validator
from pydantic import TypeAdapter

from cuetrack.build import compile_plan
from cuetrack.cli.schema import SCHEMAS
from cuetrack.document.located import Report, parse_located
from cuetrack.document.model import Node
from cuetrack.document.source import Source
from cuetrack.errors import Diagnostic
from cuetrack.plan.house import House
from cuetrack.plan.model import Session
from cuetrack.plan.series import Series

MADE = {name: schema() for name, schema in SCHEMAS.items()}


def properties(schema: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every property inside a schema, wherever it stands, under its path."""
    if isinstance(schema, dict):
        for key, inner in schema.items():
            if key == "properties":
                yield from ((f"{path}/{name}", told) for name, told in inner.items())
            yield from properties(inner, f"{path}/{key}")
    elif isinstance(schema, list):
        for index, inner in enumerate(schema):
            yield from properties(inner, f"{path}/{index}")


def mappings(schema: Any) -> Iterator[dict[str, Any]]:
    """Every mapping inside the schema."""
    if isinstance(schema, dict):
        yield schema
    for inner in schema.values() if isinstance(schema, dict) else schema if isinstance(schema, list) else ():
        yield from mappings(inner)


ALL = [(document, path, told) for document, schema in MADE.items() for path, told in properties(schema)]


def test_the_walk_finds_every_key_of_every_document() -> None:
    for document, model in {"plan": Session, "house": House, "series": Series}.items():
        found = {path for its, path, _ in ALL if its == document}
        assert {f"/{key}" for key in model.allowed_keys()} <= found
    counts = {document: sum(its == document for its, _, _ in ALL) for document in MADE}
    assert counts["plan"] >= 130
    assert counts["house"] >= 60
    assert counts["series"] == 10
    assert {"/$defs/Stage/anyOf/1/cues", "/$defs/Tempo/lift", "/$defs/DatedSession/date"} <= {
        path for _, path, _ in ALL
    }


@pytest.mark.parametrize(("document", "path", "told"), ALL, ids=[f"{its}:{path}" for its, path, _ in ALL])
def test_a_key_has_a_description_and_examples_that_its_schema_accepts(
    document: str, path: str, told: dict[str, Any]
) -> None:
    assert told.get("description", "").endswith("."), path
    assert told.get("examples"), path
    validator = Draft202012Validator(
        {"$defs": MADE[document].get("$defs", {}), **told},
        format_checker=Draft202012Validator.FORMAT_CHECKER,
    )
    for shown in told["examples"]:
        assert [error.message for error in validator.iter_errors(shown)] == [], path


@pytest.mark.parametrize("document", MADE)
def test_readers_of_an_older_draft_understand_the_schema(document: str) -> None:
    """Editors' YAML language servers know draft 7; it overlooks what stands beside a `$ref`."""
    Draft7Validator.check_schema(MADE[document])
    told = {"description", "examples", "$ref"}
    assert [found for found in mappings(MADE[document]) if "$ref" in found and not found.keys() <= told] == []


def models(model: type[Node]) -> Iterator[type[Node]]:
    """All kinds of node there are."""
    yield model
    for inner in model.__subclasses__():
        yield from models(inner)


FIELDS = [
    (model, name)
    for model in sorted({*models(Node)}, key=lambda model: model.__name__)
    for name, field in model.model_fields.items()
    if model.__module__.startswith("cuetrack.plan.") and field.examples
]


@pytest.mark.parametrize(("model", "name"), FIELDS, ids=[f"{m.__name__}.{n}" for m, n in FIELDS])
def test_examples_are_read_without_a_fault(model: type[Node], name: str) -> None:
    """As a coach writes them: through YAML, of which JSON is a part, so that short forms count."""
    field = model.model_fields[name]
    adapter: TypeAdapter[Any] = TypeAdapter(field.rebuild_annotation())
    for shown in field.examples or ():
        found: list[Diagnostic] = []
        report: Report = found.append
        written = parse_located(Source("example", json.dumps(shown)), report).value
        adapter.validate_python(written, context={"report": report})
        assert found == []


def test_there_are_examples_to_read() -> None:
    assert len(FIELDS) >= 90
    assert {model for model, _ in FIELDS} >= {Session, House, Series}


def test_own_phrases_of_the_examples_can_be_spoken(tmp_path: Path) -> None:
    """Their slots are checked only where they are spoken."""
    phrases = MADE["house"]["$defs"]["Phrases"]["properties"]
    house = {"phrases": {key: told["examples"][0] for key, told in phrases.items()}}
    (tmp_path / "house.yaml").write_text(json.dumps(house), encoding="utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        "session: a\nlead-in: 12s\nparts: [{part: b, rounds: 2, rest: 20s, "
        "steps: [{move: Row, sides: both, stages: [{slow: 20s}, {fast: 20s}], tempo: 3-1-x-1}]}]\n",
        encoding="utf-8",
    )
    assert compile_plan(plan, mixes=("ear",)).timeline.cues
