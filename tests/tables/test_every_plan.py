"""Every sample and case file: tidy, as a table and back, and by the JSON Schema as others read it."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from cuetrack.build_tables import ENDINGS, export_plan, session_in_table, table_bytes, tidy_plan
from cuetrack.document.model import Node, read_document
from cuetrack.document.source import Source
from cuetrack.errors import PlanError
from cuetrack.plan.house import HOUSE_FILE, House
from cuetrack.plan.model import Session
from cuetrack.plan.schema import schema_of
from cuetrack.plan.series import Series
from cuetrack.plan.text import parse_plan, read_plan
from cuetrack.tables.plan_writing import tidy_plan_text
from cuetrack.tables.tidy import tidied_text
from cuetrack.timeline.compile import compiled
from tests.tables.helpers import seen_comments

ROOT = Path(__file__).parents[2]
# Other readers have no limits: they take minutes, and the memory.
WITHOUT_LIMIT = {"explosive-anchors", "very-deep-nesting"}
BROKEN = sorted((ROOT / "tests" / "cases" / "broken").glob("*.yaml"))
RIGHT = sorted(
    [*ROOT.glob("samples/**/*.yaml"), *ROOT.glob("tests/cases/*/*.yaml"), *ROOT.glob("cuetrack/cli/*.yaml")]
)
RIGHT = [path for path in RIGHT if path not in BROKEN]
VALIDATORS = {model: Draft202012Validator(schema_of(model, "x")) for model in (Session, Series, House)}


def model_of(path: Path) -> type[Node]:
    if path.name == HOUSE_FILE:
        return House
    return Series if "\nseries: " in path.read_text(encoding="utf-8") else Session


PLANS = [path for path in RIGHT if model_of(path) is Session]


def name_of(path: Path) -> str:
    return f"{path.parent.name}-{path.stem}"


def schema_faults(text: str, model: type[Node]) -> list[str]:
    """What the schema says of the text as any reader of YAML 1.2 loads it; nothing of ours."""
    try:
        loaded: Any = YAML(typ="safe", pure=True).load(text)
    except (YAMLError, ValueError, OverflowError) as error:
        return [str(error)]
    if model is Series:  # by the core schema of YAML 1.2, which knows no dates, 2026-11-30 is a text
        loaded = json.loads(json.dumps(loaded, default=str))
    return [fault.message for fault in VALIDATORS[model].iter_errors(loaded)]


def test_there_are_files_of_every_kind() -> None:
    kinds = Counter(model_of(path).__name__ for path in RIGHT)
    assert kinds["Session"] >= 30
    assert min(kinds["House"], kinds["Series"]) >= 1
    assert len([path for path in PLANS if "samples" in path.parts]) >= 4
    assert len(BROKEN) >= 150


@pytest.mark.parametrize("path", RIGHT, ids=name_of)
def test_the_tidy_form_means_the_same_and_keeps_the_comments(path: Path) -> None:
    text, model = path.read_text(encoding="utf-8"), model_of(path)
    tidied = tidied_text(text, path.name)
    assert read_document(Source("tidied", tidied), model) == read_document(Source("text", text), model)
    assert seen_comments(tidied) == seen_comments(text)
    assert tidied_text(tidied, path.name) == tidied
    assert schema_faults(text, model) == schema_faults(tidied, model) == []


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("path", PLANS, ids=name_of)
def test_a_table_gives_the_same_session_back(path: Path, ending: str) -> None:
    session = read_plan(path)
    table, warnings = table_bytes(session, ending)
    moved = session_in_table(table, "table", ending)
    assert (warnings, moved.warnings) == ((), ())
    assert moved.session == session
    text = tidy_plan_text(moved.session)
    assert parse_plan(text) == session
    assert tidied_text(text) == text
    assert schema_faults(text, Session) == []


def is_refused(path: Path) -> bool:
    try:
        compiled(read_plan(path))
    except PlanError:
        return True
    return False


def is_refused_by_schema(path: Path) -> bool:
    text = path.read_bytes().decode(errors="replace")
    return path.stem not in WITHOUT_LIMIT and bool(schema_faults(text, Session))


@pytest.mark.parametrize("path", BROKEN, ids=name_of)
def test_what_is_wrong_is_refused_by_the_schema_or_by_the_checker(path: Path) -> None:
    assert is_refused_by_schema(path) or is_refused(path)


def test_both_refuse_and_neither_is_needless() -> None:
    """Tags and duplicate keys, faults between several lines: the checker's; the schema is for editors."""
    assert sum(map(is_refused, BROKEN)) == len(BROKEN)
    assert len(BROKEN) // 2 < sum(map(is_refused_by_schema, BROKEN)) < len(BROKEN)


@pytest.mark.parametrize("path", BROKEN, ids=name_of)
def test_no_command_touches_a_plan_with_mistakes(path: Path, tmp_path: Path) -> None:
    plan, table = tmp_path / "plan.yaml", tmp_path / "table.csv"
    plan.write_bytes(path.read_bytes())
    try:
        read_plan(plan)
    except PlanError:
        for command in (lambda: tidy_plan(plan), lambda: export_plan(plan, table)):
            with pytest.raises(PlanError):
                command()
        assert plan.read_bytes() == path.read_bytes()
        assert list(tmp_path.iterdir()) == [plan]
        return
    tidy_plan(plan)  # what the compiler finds wrong is no matter of form
    assert read_plan(plan) == read_plan(path)
