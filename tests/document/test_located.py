"""YAML to values that know their places; every scalar stays the text that was written."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cuetrack.document.located import Located, LocatedList, LocatedMap, parse_located, shown
from cuetrack.document.source import Source
from cuetrack.errors import Diagnostic, PlanError


def located(text: str) -> tuple[Located, list[Diagnostic]]:
    found: list[Diagnostic] = []
    return parse_located(Source("plan", text), found.append), found


def value(text: str) -> Any:
    root, found = located(text)
    assert found == []
    return root.value


@pytest.mark.parametrize(
    "scalar",
    [
        "1:30",
        "no",
        "off",
        "null",
        "~",
        "3",
        "0o7",
        "0x1F",
        "1e3",
        ".inf",
        "1_000",
        "2026-01-01",
        "true",
        "=",
        "a: b",
    ],
)
def test_scalars_stay_as_written(scalar: str) -> None:
    written = f"'{scalar}'" if ": " in scalar else scalar
    assert value(f"key: {written}\n") == {"key": scalar}


def test_places_of_keys_values_and_items() -> None:
    text = "session: Quay\nparts:\n  - part: 'A b'\n    steps: [x, {y: z}]\n"
    root, _ = located(text)
    session = root.value
    assert isinstance(session, LocatedMap)
    assert (str(session.place), str(session.value_places["session"])) == ("plan:1:1", "plan:1:10")
    assert session.value_places["session"].length == len("Quay")
    part = session["parts"][0]
    assert (str(part.key_places["part"]), str(part.value_places["part"])) == ("plan:3:5", "plan:3:11")
    assert part.value_places["part"].length == len("'A b'")
    assert [str(place) for place in part["steps"].item_places] == ["plan:4:13", "plan:4:17"]
    assert part.value_places["steps"].line_text == "    steps: [x, {y: z}]"


def test_a_value_that_is_not_there_is_shown_at_its_key_or_dash() -> None:
    root, _ = located("a:\n# nothing\nb: 1\n")
    assert isinstance(root.value, LocatedMap)
    assert str(root.value.value_places["a"]) == "plan:1:1"
    items, _ = located("- x\n-\n- y\n")
    assert isinstance(items.value, LocatedList)
    assert [str(place) for place in items.value.item_places] == ["plan:1:3", "plan:2:1", "plan:3:3"]


def test_folded_text_has_no_marks_of_the_parser_in_it() -> None:
    assert value("notes: >\n  one\n  two\n\n  three\n") == {"notes": "one two\nthree\n"}


def test_literal_text_keeps_its_lines() -> None:
    assert value("notes: |-\n  one # no comment\n    two: 2\n") == {"notes": "one # no comment\n  two: 2"}


def test_aliases_repeat_values() -> None:
    assert value("a: &x [1, {b: 2}]\nc: *x\n") == {"a": ["1", {"b": "2"}], "c": ["1", {"b": "2"}]}


def test_an_anchor_may_be_used_again() -> None:
    assert value("a: &x 1\nb: *x\nc: &x 2\nd: *x\n") == {"a": "1", "b": "1", "c": "2", "d": "2"}


@pytest.mark.parametrize("tag", ["!!str", "!!int", "!!null", "!!map", "!!timestamp", "!"])
def test_tags_of_plain_values_change_nothing(tag: str) -> None:
    content = "{a: b}" if tag == "!!map" else "12"
    assert value(f"key: {tag} {content}\n") == {"key": {"a": "b"} if tag == "!!map" else "12"}


@pytest.mark.parametrize(
    "text", ["!!set {a}", "!!omap [a: b]", "!x y", "!!python/none n", "!<tag:example.org,2026:x> y"]
)
def test_tags_of_other_programs_are_reported(text: str) -> None:
    _, found = located(f"key: {text}\n")
    assert len(found) == 1
    assert found[0].message.startswith("the tag '!") or "tag:example.org" in found[0].message


def test_a_tag_on_a_key_is_reported_too() -> None:
    _, found = located("!x key: 1\n")
    assert [str(diagnostic.place) for diagnostic in found] == ["plan:1:1"]


def test_first_of_duplicate_keys_is_kept_and_the_others_are_reported() -> None:
    root, found = located("a: 1\nb: 2\na: 3\n'a': 4\n")
    assert root.value == {"a": "1", "b": "2"}
    assert [(str(d.place), d.message) for d in found] == [
        ("plan:3:1", "duplicate key 'a'"),
        ("plan:4:1", "duplicate key 'a'"),
    ]
    assert found[0].hint == "it stands in line 1 already; keep one of the two"


def test_without_keeps_places() -> None:
    root, _ = located("a: 1\nb: 2\n")
    assert isinstance(root.value, LocatedMap)
    kept = root.value.without({"a"})
    assert kept == {"b": "2"}
    assert str(kept.value_places["b"]) == "plan:2:4"
    assert root.value == {"a": "1", "b": "2"}


@pytest.mark.parametrize(
    "text",
    [
        "a: &a [*a]",
        "a: &a {b: *a}",
        "a: &a\n  - b: [{c: *a}]\n",
    ],
)
def test_alias_in_itself(text: str) -> None:
    with pytest.raises(PlanError, match=r"this anchor \(&\) holds an alias of itself"):
        located(text)


def test_aliases_that_repeat_a_long_text_stop_at_once() -> None:
    text = f"a: &a {'x' * 100_000}\nb: [{', '.join(['*a'] * 20)}]\n"
    with pytest.raises(
        PlanError, match="more than 20000 values or 1000000 characters, counted with all aliases"
    ):
        located(text)


def test_a_text_of_very_many_values_stops_before_all_are_read() -> None:
    """A text of 256 KiB can hold so many that reading them would take minutes."""
    lines = "".join(f"k{number}: a\n" for number in range(20_000))
    with pytest.raises(PlanError) as refused:
        located(lines)
    (diagnostic,) = refused.value.diagnostics
    assert diagnostic.message == "more than 20000 values"
    assert diagnostic.place is not None
    assert (diagnostic.place.line, diagnostic.place.line_text) == (10_000, "k9999: a")  # the mapping is one
    assert len(value("".join(f"k{number}: a\n" for number in range(9_000)))) == 9_000


def test_forty_levels_are_read_and_one_more_is_not() -> None:
    assert value("[" * 40 + "]" * 40)
    with pytest.raises(PlanError, match="too many levels"):
        located("[" * 41 + "]" * 41)


def test_values_in_messages_are_short() -> None:
    assert shown({"a": 1}) == "a mapping"
    assert shown([1]) == "a list"
    assert shown("") == "nothing"
    assert shown("it's") == '"it\'s"'
    assert len(shown("x" * 1000)) == 42


texts = st.text(
    st.characters(exclude_categories=("Cs",), exclude_characters="\ufeff\ufffe\uffff"), max_size=8
)
documents = st.recursive(
    texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts.filter(bool), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))
@given(st.dictionaries(texts.filter(bool), documents, min_size=1), st.sampled_from([None, 1, 2]))
def test_json_is_read_as_the_standard_library_wrote_it(document: dict[str, Any], indent: int | None) -> None:
    """YAML 1.2 holds JSON, with its escapes: also characters that JSON writes as two of them."""
    assert value(json.dumps(document, indent=indent)) == document


def test_half_of_a_pair_stays_alone() -> None:
    assert value('a: "\\ud83d x \\ude00 \\ud83d\\ude00"') == {"a": "\ud83d x \ude00 😀"}
