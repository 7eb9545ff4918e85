"""The tidy form: one way to write a plan, the same session, every comment."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cuetrack.document.source import MAX_SOURCE_BYTES
from cuetrack.errors import PlanError
from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan, plan_text
from cuetrack.tables.plan_writing import tidy_plan_text
from cuetrack.tables.tidy import UntidyError, comment_count, tidied_plan
from tests.plan.test_any_text import PLANS
from tests.plan.test_round_trip import plans

ROOT = Path(__file__).parents[2]
quick = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))


def correct_plans() -> dict[str, str]:
    """Every sample and every case file that reads without mistakes, by its name."""
    paths = [*(ROOT / "samples").glob("*.yaml"), *(ROOT / "tests" / "cases").rglob("*.yaml")]
    paths.append(ROOT / "cuetrack" / "cli" / "starter.yaml")
    found = {}
    for path in sorted(paths):
        try:
            text = path.read_text(encoding="utf-8")
            parse_plan(text)
        except (PlanError, UnicodeDecodeError):
            continue
        found[f"{path.parent.name}/{path.name}"] = text
    return found


CORRECT = correct_plans()


def comments(text: str) -> Counter[str]:
    """The comments of a plan without a `#` in any text; the samples and cases are such plans."""
    return Counter(line.strip() for line in re.findall(r"(?:^|(?<=\s))#.*", text, re.MULTILINE))


def test_there_are_plans() -> None:
    assert len(CORRECT) >= 40
    assert sum(name.startswith("samples/") for name in CORRECT) >= 3


@pytest.mark.parametrize("name", CORRECT)
def test_every_correct_plan_of_the_project_keeps_its_session_and_its_comments(name: str) -> None:
    text = CORRECT[name]
    tidied = tidied_plan(text)
    assert parse_plan(tidied) == parse_plan(text)
    assert comments(tidied) == comments(text)
    assert tidied_plan(tidied) == tidied
    assert not re.search(r"[ \t]$|\n\n\n|\A\n", tidied, re.MULTILINE)


UNTIDY = """\
# Winter training

# on the quay
parts:   # in this order

- steps:
  - {rest:   5s}
  # - {rest: 1s}
    # deeper
  -   # of the move
    work: 20s   # short
    move: 'March'   # on the spot
    stages_: 1
  part:   Main   # the only one
# the end
session: Quay


lead-in:     5s
""".replace("    stages_: 1\n", "")

TIDY = """\
# Winter training

# on the quay
parts:          # in this order
  - part: Main  # the only one
    steps:
      - rest: 5s
      # - {rest: 1s}
      # deeper
      - move: 'March'  # on the spot
        work: 20s      # short
# the end
session: Quay

lead-in: 5s
"""


def test_the_form() -> None:
    """The comment above `session` may speak of more than it: the keys there stay in their order."""
    tidied = tidied_plan(UNTIDY)
    assert tidied == TIDY.replace("      - move: 'March'", "      # of the move\n      - move: 'March'")
    assert tidied_plan(tidied) == tidied


PLAN = "session: Quay\nparts:\n  - part: Main\n    steps:\n      - {step}\n"


def tidied_step(step: str) -> str:
    return tidied_plan(PLAN.replace("{step}", step)).partition("    steps:\n")[2]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ("{talk: 5s}", "- talk: 5s"),
        (
            "move: Row\n        stages: [ {slow: 5s} , {fast: 5s,}]",
            "- move: Row\n  stages: [{slow: 5s}, {fast: 5s}]",
        ),
        (
            "move: Row\n        stages: [{slow: 5s}, # first\n          {fast: 5s}]  # then",
            "- move: Row\n  stages:         # then\n    - {slow: 5s}  # first\n    - {fast: 5s}",
        ),
        (
            "talk: 5s\n        notes: |  # for me\n            one\n              two\n\n            three  \n",
            "- talk: 5s\n  notes: |  # for me\n    one\n      two\n\n    three",
        ),
        (
            "talk: 5s\n        notes: >-\n           one\n           two",
            "- talk: 5s\n  notes: >\n    one\n    two",
        ),
        (
            "talk: 5s\n        notes: one\n          two\n\n          three",
            "- talk: 5s\n  notes: one two\n\n    three",
        ),
        ('talk: 5s\n        notes: "one\n          # two"', '- talk: 5s\n  notes: "one # two"'),
        ("talk: 5s\n        notes: |2\n            one", '- talk: 5s\n  notes: "one"'),
        ("? move\n        : Row\n        ? work\n        : 5s", "- move: Row\n  work: 5s"),
        ("move: !!str Row\n        work: &w 5s\n        rest: *w", "- move: Row\n  work: &w 5s\n  rest: *w"),
        ("move: a#b\n        work: 5s#\n".replace("5s#", "5s # c"), "- move: a#b\n  work: 5s  # c"),
        ("sides: both\n        work: 5s\n        move: Row", "- move: Row\n  work: 5s\n  sides: both"),
    ],
)
def test_ways_to_write_a_step(step: str, expected: str) -> None:
    tidied = tidied_step(step)
    assert tidied == "".join(f"      {line}\n" if line else "\n" for line in expected.split("\n"))


def test_long_texts_are_broken_and_long_braces_are_written_in_lines() -> None:
    words = " ".join(["shoulders down and keep on breathing"] * 5)
    cues = ", ".join(f"{{at: {second}s, say: Keep breathing.}}" for second in range(1, 6))
    tidied = tidied_step(f"move: Row\n        work: 20s\n        setup: {words}\n        cues: [{cues}]")
    assert max(map(len, tidied.splitlines())) <= 100
    assert "\n          - {at: 1s, say: Keep breathing.}\n" in tidied
    assert tidied_plan(PLAN.replace("      - {step}\n", tidied)).endswith(tidied)


@pytest.mark.parametrize("ends", ["\r\n", "\r"])
def test_other_line_ends_and_a_byte_order_mark_go(ends: str) -> None:
    assert tidied_plan("\ufeff" + TIDY.replace("\n", ends)) == TIDY


def test_comments_are_counted() -> None:
    assert comment_count(TIDY) == len(comments(TIDY)) == 9
    assert comment_count('session: "# none"\nparts: [{part: a#b, steps: [{talk: 1s}]}]\n') == 0


def test_a_plan_with_mistakes_is_refused() -> None:
    with pytest.raises(PlanError, match="'5' is a time without a unit"):
        tidied_plan(TIDY.replace("lead-in: 5s", "lead-in: 5"))


def test_a_plan_that_would_grow_too_large_is_left_as_it_is() -> None:
    steps = "{talk: 1s}," * 2000
    parts = f"{{part: a, steps: [{steps}]}}," * 11
    text = f"session: Quay\nparts: [{parts}]\n"
    assert len(text) < MAX_SOURCE_BYTES
    with pytest.raises(UntidyError, match="larger than 256 KiB; it is left as it is"):
        tidied_plan(text)


@settings(quick, max_examples=25)
@given(plans)
def test_any_session_keeps_its_meaning(plan: dict[str, Any]) -> None:
    session = Session.model_validate(plan)
    tidied = tidied_plan(plan_text(session))
    assert parse_plan(tidied) == session
    assert tidied_plan(tidied) == tidied
    written = tidy_plan_text(session, ("one\ntwo",))
    assert parse_plan(written) == session
    assert written.startswith("# one two\n")
    assert tidied_plan(written) == written


@st.composite
def _commented(draw: st.DrawFn) -> str:
    """A plan of the project with comments, blank lines and blanks put in at random."""
    lines = draw(st.sampled_from(PLANS)).split("\n")
    for number in range(draw(st.integers(1, 8))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.integers(0, 3)):
            case 0:
                lines.insert(at, " " * draw(st.integers(0, 12)) + f"# own {number}")
            case 1:
                lines[at] += f"  # end {number}"
            case 2:
                lines.insert(at, "")
            case _:
                lines[at] = re.sub(
                    r"(?<=[\[{,])(?=\s*\w)", f" # in {number}\n             ", lines[at], count=1
                )
    return "\n".join(lines)


@settings(quick, max_examples=60)
@given(_commented())
def test_comments_anywhere_are_kept(text: str) -> None:
    try:
        session = parse_plan(text)
    except PlanError:
        return  # a comment may end what it stands in
    tidied = tidied_plan(text)
    assert parse_plan(tidied) == session
    assert comments(tidied) == comments(text)
    assert tidied_plan(tidied) == tidied
