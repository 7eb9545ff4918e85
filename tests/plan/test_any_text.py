"""No text, however broken, raises anything but an error of ours, and each finding points into the text.

Texts are made in three ways: at random, from the words of the language in a random order, and by
breaking plans that are right.
"""

from __future__ import annotations

import re
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from cuetrack.errors import Diagnostic, PlanError
from cuetrack.plan.text import parse_plan
from cuetrack.timeline.compile import compiled
from tests.plan.rebuild_cases import CASES

_ROOT = Path(__file__).parents[2]
_CORRECT = [*(_ROOT / "samples").glob("*.yaml"), *(_ROOT / "tests" / "cases" / "timelines").glob("*.yaml")]
PLANS = [path.read_text(encoding="utf-8") for path in sorted(_CORRECT)]
_BROKEN = [path.read_text(encoding="utf-8") for path in sorted(CASES.glob("*.yaml"))]
_KEYS = sorted({key for text in PLANS for key in re.findall(r"[\w-]+(?=:)", text)})
_BETWEEN = ("\n", "\n  ", "\n- ", " ", "  ", "\t", ": ", "- ", "? ", ", ", "&a ", "*a ", " #", "<<: ", "\\")
_SIGNS = r"""{ } [ ] : | > |2- >+ @ ` ' " = ~ null off 0o7 0x1F .inf .nan 1e3 1.0 +1 2001-01-01 !x !!int !<a>
"\x07" "\uD800" "\UFFFFFFFF" "\q" !!binary 5s 0s -1s 25h 1/0s 1/3s 2..1 1s..2s 50% -50% 99999counts 🏋️"""
_ON_THEIR_OWN_LINE = ("\n---\n", "\n...\n", "%YAML 1.1\n", "%TAG ! x\n", "\n%a\n")
_HARD_TO_SEE = ("\u00a0", "\u0301", "\u200b", "\r", "\x00", "\x85", "\u2028", "\ufeff", "\ud800", "\ufffe")
_WORDS = st.sampled_from([*_BETWEEN, *_SIGNS.split(), *_ON_THEIR_OWN_LINE, *_HARD_TO_SEE, *_KEYS])
_SOUP = st.lists(_WORDS | st.text(max_size=5), max_size=40).map("".join)

quick = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))


@st.composite
def _broken_plans(draw: st.DrawFn) -> str:
    """A plan with some lines and characters deleted, doubled, moved, inserted or replaced."""
    text = draw(st.sampled_from(PLANS) | st.sampled_from(_BROKEN))
    for _ in range(draw(st.integers(1, 4))):
        lines = text.split("\n")
        at, other = draw(st.integers(0, len(lines) - 1)), draw(st.integers(0, len(lines) - 1))
        column = draw(st.integers(0, len(lines[at])))
        before, after = lines[at][:column], lines[at][column:]
        match draw(st.integers(0, 7)):
            case 0:
                lines.pop(at)
            case 1:
                lines.insert(other, lines[at])
            case 2:
                lines[at], lines[other] = lines[other], lines[at]
            case 3:
                lines[at] = draw(st.sampled_from(["  ", " ", "\t", "- "])) + lines[at]
            case 4:
                lines[at] = lines[at][draw(st.integers(1, 4)) :]
            case 5:
                lines[at] = before + draw(_WORDS | st.characters()) + after
            case 6:
                lines[at] = before + after[draw(st.integers(1, 5)) :]
            case _:
                lines[at] = re.sub(r": .*", lambda _: f": {draw(_WORDS)}", lines[at], count=1)
        text = "\n".join(lines)
    return text


def findings(text: str) -> tuple[Diagnostic, ...]:
    """What is wrong with the text; anything but an error of ours fails the test."""
    try:
        compiled(parse_plan(text))
    except PlanError as error:
        found = error.diagnostics
    else:
        return ()
    assert found
    return found


def assert_points_into(text: str, found: Diagnostic) -> None:
    """The place is in the text, and the caret stands under the character at the place."""
    lines = re.split("\r\n|\r|\n", text.removeprefix("\ufeff"))
    place = found.place
    assert place is not None
    assert 1 <= place.line <= len(lines)
    assert place.line_text == lines[place.line - 1]
    assert 1 <= place.column <= len(place.line_text) + 1
    assert found.message
    assert len(found.message) < 300
    shown = str(found).split("\n")
    assert shown[0].startswith(f"plan:{place.line}:{place.column}: error: ")
    caret = next((line for line in shown[2:3] if set(line) == {" ", "^"}), None)
    at_place = place.line_text[place.column - 1 : place.column]
    if caret is None:
        assert not shown[1:] or shown[1].startswith("    hint: ")  # a blank line is not quoted
    elif at_place.isprintable() and at_place.strip():
        assert shown[1][caret.index("^")] == at_place
        assert len(caret) <= 4 + min(100, len(place.line_text))


@settings(quick, max_examples=150)
@given(st.text())
def test_random_text(text: str) -> None:
    for found in findings(text):
        assert_points_into(text, found)


@settings(quick, max_examples=400)
@given(_SOUP)
@example("a: &a {b: *a}")
@example("? {a: 1}\n: 2\n")
@example("&k session: x\n*k : y\n")
@example("session: !!set {a, b}\n")
@example("%YAML 1.1\n---\nsession: 1:30\n")
@example("--- >\n text\n... \n# end\n")
@example("notes: |\n\n      x\n  y\n")
@example("{session: a, parts: [{part: b, steps: [{talk: 1s}]}]}")
@example('"session" : a\n')
@example("session: a\n\n\n")
def test_words_of_the_language_in_any_order(text: str) -> None:
    for found in findings(text):
        assert_points_into(text, found)


@settings(quick, max_examples=500)
@given(_broken_plans())
def test_plans_with_something_broken(text: str) -> None:
    for found in findings(text):
        assert_points_into(text, found)


def test_the_plans_that_are_broken_here_are_right_before() -> None:
    assert len(PLANS) >= 20
    assert [findings(text) for text in PLANS] == [()] * len(PLANS)
