"""The JSON Schema: by the standard's own meta-schema, on real plans, and on what it must refuse."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from cuetrack.errors import PlanError
from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan, plan_schema
from tests.helpers.plan_text import plan_text
from tests.plan.test_round_trip import plans

ROOT = Path(__file__).parents[2]
PLANS = sorted(
    [
        *ROOT.glob("samples/*.yaml"),
        *ROOT.glob("tests/cases/timelines/*.yaml"),
        *ROOT.glob("cuetrack/cli/*.yaml"),
    ]
)
SCHEMA = plan_schema()
VALIDATOR = Draft202012Validator(SCHEMA)


def loaded(text: str) -> Any:
    """The text as any program reads it: plain YAML 1.2, nothing of ours."""
    return YAML(typ="safe", pure=True).load(text)


def faults(text: str) -> list[str]:
    """What the schema has against the text."""
    return [error.message for error in VALIDATOR.iter_errors(loaded(text))]


def mappings(schema: Any) -> Iterator[dict[str, Any]]:
    """Every mapping inside the schema."""
    if isinstance(schema, dict):
        yield schema
    for inner in schema.values() if isinstance(schema, dict) else schema if isinstance(schema, list) else ():
        yield from mappings(inner)


def properties() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every key that a plan may hold, with its schema."""
    for mapping in mappings(SCHEMA):
        if mapping.get("type") == "object":
            yield from mapping.get("properties", {}).items()


def test_schema_is_valid_by_the_2020_12_meta_schema_and_is_json() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_real_plans_are_accepted(plan: Path) -> None:
    assert faults(plan.read_text(encoding="utf-8")) == []


def test_there_are_real_plans() -> None:
    assert len(PLANS) >= 25
    assert {"starter", "quay-circuit"} <= {plan.stem for plan in PLANS}


@settings(max_examples=40, deadline=None, database=None, suppress_health_check=list(HealthCheck))
@given(plans)
def test_every_session_as_we_write_it_is_accepted(plan: dict[str, Any]) -> None:
    assert faults(plan_text(Session.model_validate(plan))) == []


def with_move(keys: str) -> str:
    return f"{{session: a, parts: [{{part: b, steps: [{{move: c, {keys}}}]}}]}}"


def with_session(keys: str) -> str:
    return f"{{session: a, {keys}, parts: [{{part: b, steps: [{{talk: 5s}}]}}]}}"


@pytest.mark.parametrize(
    "text",
    [
        with_move("work: 30s"),
        with_move("work: 72/8.5 s"),
        with_move("work: 1 min 30 s"),
        with_move("work: 20s..40s"),
        with_move("work: 1:30 – 2:00"),
        with_move("work: 32 counts"),
        with_move("stages: [{slow lowering: 25s}, {paused: 15s, notes: still}]"),
        with_move("stages: [{stage: slow, work: 25s, calls: {finish: off}}]"),
        with_move("work: 5s, sides: both"),
        with_move("work: 5s, sides: [right, left]"),
        with_move("work: 5s, tempo: 120 BPM"),
        with_move("work: 8 reps, tempo: 3-1-x-0"),
        with_move("work: 5s, tempo: {lift: 2.5 – 0 – 1 – 0, by: both, first: lifting, count: on}"),
        with_move("work: 5s, tempo: {beat: 60 bpm, accent: 4, count: 8}, every: 72/8.5 s"),
        with_move("work: 5s, every: {interval: 2s, tone: soft}"),
        with_move("work: 5s, cues: [{at: 50%, say: 10}, {at: -8s, tone: soft}]"),
        with_session("calls: {start: off, finish: {warn: off}, stage: {tone: off}, side: on, halfway: off}"),
        with_session("calls: {start: {count: [10, 5, 0.5, 2.5s]}, announce: off}"),
        with_session("equipment: mat, bed: off"),
        with_session("bed: {pulse: 120 bpm, under speech: -20 dB}, loudness: -16 LUFS"),
        with_session("bed: {pulse: 120 bpm, mood: calm, gain: +3 dB, fade in: 0s, fade out: 4s}"),
        with_session("bed: {file: tide.ogg, start: 1:30, tempo: 96 bpm, crossfade: 8s, loop: off}"),
        with_session("bed: {file: [beds/tide.ogg, beds/ebb.m4a]}"),
        with_session("loudness: {class: -14 LUFS, ear: -18 LUFS, film: −23 lufs}, slate: on"),
        with_session("mixes: {film: [bed, tone, slate], ear: prompt}, coach: The rowing club"),
        with_session("artwork: quay.jpg, comment: Winter 2026, slate: no"),
        with_move("work: 5s, bed: off"),
        with_move("work: 5s, bed: {gain: -3 dB, pulse: 140 bpm}"),
        "{session: a, bed: {pulse: 120 bpm}, parts: [{part: b, bed: {mood: strong}, steps: [{rest: 5s}]}]}",
        "{session: a, parts: [{part: b, steps: [{rest: 5s, bed: off}, {talk: 5s, bed: {file: a}}]}]}",
        "{session: 2026, parts: [{part: 1, steps: [{rest: 5s}]}]}",
    ],
)
def test_what_the_language_allows(text: str) -> None:
    assert faults(text) == []
    assert parse_plan(text).parts


@pytest.mark.parametrize(
    "text",
    [
        with_session("lenght: 20:00"),
        with_session("lead-in: 5"),
        with_session("lead-in: -5s"),
        with_session("lead-in: 5 secs"),
        with_session("lead-in: 5s..8s"),
        with_session("lead-in:"),
        with_session("calls: off"),
        with_session("calls: {start: {by: tone}}"),
        with_session("calls: {start: {count: 90}}"),
        with_session("calls: {start: {count: [0]}}"),
        with_session("calls: {start: {sound: pip}}"),
        with_session("calls: {start: tones}"),
        with_session("calls: {halfway: maybe}"),
        with_session("calls: {announce: [set-up]}"),
        with_session("bed: {pulse: 120 bpm, file: tide.ogg}"),
        with_session("loudness: -16"),
        with_session("loudness: {class: -16}"),
        with_session("loudness: {calss: -16 LUFS}"),
        with_session("loudness: [-16 LUFS]"),
        with_session("mixes: {flim: [bed]}"),
        with_session("mixes: {film: [beds]}"),
        with_session("mixes: {film: voice}"),
        with_session("mixes: {film: []}"),
        with_session("mixes: film"),
        with_session("slate: head"),
        with_session("coach: [a, b]"),
        with_session("artwork:"),
        with_session("bed: {pulse: 120 bpm, mood: bright}"),
        with_session("bed: {pulse: 120 bpm, gain: 3}"),
        with_session("bed: {pulse: 120 bpm, tempo: 120 bpm}"),
        with_session("bed: {pulse: 120 bpm, loop: on}"),
        with_session("bed: {file: a, mood: calm}"),
        with_session("bed: {file: []}"),
        with_session("bed: {file: a, crossfade: 8}"),
        with_session("bed: {file: a, fade-in: 8s}"),
        with_move("work: 5s, slate: on"),
        with_session("level: hard"),
        with_move("work: 30"),
        with_move("work: 30s, stages: [{slow: 5s}]"),
        with_move("stages: []"),
        with_move("stages: [slow]"),
        with_move("stages: [{slow: 5s, steady: 5s}]"),
        with_move("stages: [{stage: slow, work: 5s, call: off}]"),
        with_move("stages: [{stage: slow}]"),
        with_move("work: 5s, sides: up"),
        with_move("work: 5s, sides: [left, left]"),
        with_move("work: 5s, sides: []"),
        with_move("work: 5s, setup: [a, b]"),
        with_move("work: 5s, setup:"),
        with_move("work: 5s, tempo: 120"),
        with_move("work: 5s, tempo: 3-1-2"),
        with_move("work: 5s, tempo: {accent: 4}"),
        with_move("work: 5s, tempo: {beat: 60 bpm, lift: 3-1-2-0}"),
        with_move("work: 5s, tempo: {beat: 60 bpm, by: tones}"),
        with_move("work: 5s, tempo: {lift: 3-1-2-0, accent: 4}"),
        with_move("work: 5s, tempo: {beat: 60 bpm, count: 1}"),
        with_move("work: 5s, every: 8"),
        with_move("work: 5s, every: {tone: soft}"),
        with_move("work: 5s, talk: 5s"),
        with_move("work: 5s, cues: [{at: 5s}]"),
        with_move("work: 5s, cues: [{say: Easy.}]"),
        with_move("work: 5s, cues: [{at: 5, say: Easy.}]"),
        with_move("work: 5s, cues: [{at: 5s, tone: softly}]"),
        "{session: a}",
        "{session: a, parts: []}",
        "{session: a, parts: [{part: b, steps: []}]}",
        "{session: a, parts: [{part: b, rounds: 0, steps: [{talk: 5s}]}]}",
        "{session: a, parts: [{part: b, rounds: 2.5, steps: [{talk: 5s}]}]}",
        "{session: a, parts: [{part: b, steps: [{squat: 5s}]}]}",
        "[session, parts]",
    ],
)
def test_what_the_language_refuses(text: str) -> None:
    assert faults(text)
    with pytest.raises(PlanError):
        parse_plan(text)


def test_every_key_is_explained_in_one_sentence_or_two() -> None:
    keys = list(properties())
    assert len(keys) >= 50
    for name, schema in keys:
        told = schema.get("description", "")
        assert told.endswith("."), name
        assert "\n" not in told, name
        assert 10 <= len(told) <= 160, name


def test_schema_says_nothing_of_python() -> None:
    assert [mapping for mapping in mappings(SCHEMA) if mapping.get("type") == "null"] == []
    assert [mapping["title"] for mapping in mappings(SCHEMA) if isinstance(mapping.get("title"), str)] == [
        "Session plan"
    ]
    assert "null" not in json.dumps(SCHEMA)


def test_schema_lets_an_editor_complete_every_key_of_the_model() -> None:
    names = {name for name, _ in properties()}
    assert set(Session.allowed_keys()) <= names
    assert {
        "under speech",
        "halfway",
        "ahead",
        "warn",
        "rounds",
        "move",
        "rest",
        "talk",
        "at",
        "stage",
    } <= names
