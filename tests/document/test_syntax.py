"""What a coach reads where the text is no YAML: our words, not the parser's, and at the place to mend."""

from __future__ import annotations

import pytest

from cuetrack.document.located import parse_located
from cuetrack.document.source import Source
from cuetrack.errors import PlanError


def said(text: str) -> tuple[str, str]:
    """Place and message of the one finding."""
    with pytest.raises(PlanError) as caught:
        parse_located(Source("plan", text), lambda found: None, "begin with a plan")
    (found,) = caught.value.diagnostics
    assert found.hint
    return str(found.place).removeprefix("plan:"), found.message


@pytest.mark.parametrize(
    ("text", "place", "message"),
    [
        ("a: b: c", "1:5", "a second ': ' in this line"),
        ("a: 'b': c", "1:7", "a second ': ' in this line"),
        ("a\n b: c", "2:3", "this line is read as part of the text above it"),
        ("a: b\n  c: d", "2:4", "this line is read as part of the text above it"),
        ("a: 1\nb\nc: 2", "2:1", "this line is neither `key: value` nor `- item`"),
        ("a:\n  b: 1\n c: 2", "3:2", "the indentation does not match the lines above"),
        ("- a\nb: c", "2:1", "the indentation does not match the lines above"),
        ("a: [b, c\nd: e\n", "1:4", "this bracket is not closed"),
        ("a: {b: c\nd: e\n", "1:4", "this bracket is not closed"),
        ("a: [b}", "1:4", "this bracket is not closed"),
        ("a: [b, ", "1:8", "the file ends inside a bracket"),
        ("a: {b: c: d}", "1:9", "a second ': ' in this item"),
        ("a: ['b' 'c']", "1:9", "a comma is missing before this"),
        ("a: [, b]", "1:5", "a value is missing before this"),
        ("a: ]", "1:4", "a value is missing before this"),
        ("a: 'b' c", "1:8", "the value has ended before this"),
        ("a: [b]]", "1:7", "the value has ended before this"),
        ("- 'b' c", "1:7", "the value has ended before this"),
        ("a: 'b\nc: d\n", "1:4", "this quote is not closed"),
        ('a: "b\n---\n', "1:4", "this quote is not closed"),
        ("a: > 5", "1:4", "a text cannot begin with >"),
        ("a: |b", "1:4", "a text cannot begin with |"),
        ("a: @b", "1:4", "a text cannot begin with @"),
        ("a: %b", "1:4", "a text cannot begin with %"),
        ("a: & b", "1:4", "a text cannot begin with &"),
        ("a: * b", "1:4", "a text cannot begin with *"),
        ("a: !x! b", "1:4", "a text cannot begin with !"),
        ("a: !x!y b", "1:4", "a text cannot begin with !"),
        ("a: !<x", "1:4", "a text cannot begin with !"),
        ("a: !%zz b", "1:4", "a text cannot begin with !"),
        ("a: ? b", "1:4", "a text cannot begin with ?"),
        ("a: - b", "1:4", "an item cannot begin here"),
        ("-\tb", "1:2", "a tab where a value begins"),
        ("a: *b", "1:4", "this alias (*) names nothing"),
        ('a: "\\q"', "1:6", "there is no escape \\q"),
        ('a: "\\x0"', "1:7", "the escape before this is not complete"),
        ('a: b\nc: "\\UFFFFFFFF"', "2:5", "there is no character \\UFFFFFFFF"),
        ('a: "\\U00110000"', "1:5", "there is no character \\U00110000"),
        ("a: b\n---\nc: d", "2:1", "a second document begins here"),
        ("a: b\n...\nc", "3:1", "a second document begins here"),
        ("%YAML 2.0\n---\na: b", "1:1", "this line begins with %, which a plan has no use for"),
        ("%YAML x\n---\na: b", "1:7", "this line begins with %, which a plan has no use for"),
        ("%a\nb: c", "2:1", "a line begins with %, which a plan has no use for"),
        ("a: b\n%c", "2:3", "a line begins with %, which a plan has no use for"),
        ("---", "1:1", "nothing is written in this file"),
        ("# a", "1:1", "nothing is written in this file"),
        ("", "1:1", "the file is empty"),
        (" \n\n", "1:1", "the file is empty"),
        ("\ufeff", "1:1", "the file is empty"),
        ("[" * 3000, "1:41", "too many levels"),
    ],
)
def test_syntax_error_in_our_words(text: str, place: str, message: str) -> None:
    assert said(text) == (place, message)


def test_an_error_that_the_parser_did_not_mean_is_ours_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise IndexError("list index out of range")

    monkeypatch.setattr("ruamel.yaml.YAML.compose", broken)
    assert said("a: b") == ("1:1", "unreadable YAML (list index out of range)")


def test_nesting_that_exhausts_the_parser_is_ours_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def exhausted(*_: object) -> None:
        raise RecursionError

    monkeypatch.setattr("ruamel.yaml.YAML.compose", exhausted)
    assert said("a: b") == ("1:1", "too many levels")
