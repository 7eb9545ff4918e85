"""The tidy form: one way to write a plan, the same session, every comment."""

from __future__ import annotations

import io
import re
from collections import Counter
from textwrap import dedent
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from cuetrack.errors import PlanError, TidyError
from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan
from cuetrack.tables import tidy
from cuetrack.tables.tidy import comments, tidied_text, yaml_of_texts
from tests.helpers.plan_text import plan_text
from tests.plan.test_any_text import PLANS
from tests.plan.test_round_trip import plans
from tests.tables.helpers import seen_comments

quick = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))

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
  part:   Main   # the only one
     # after it
# the end
session: Quay


lead-in:     5s

"""

TIDY = """\
# Winter training

# on the quay
parts:  # in this order

  - steps:
      - rest: 5s
      # - {rest: 1s}
        # deeper
      # of the move
      - work: 20s      # short
        move: 'March'  # on the spot
    part: Main         # the only one
    # after it
# the end
session: Quay

lead-in: 5s
"""


def test_the_form() -> None:
    assert tidied_text(UNTIDY) == TIDY
    assert tidied_text(TIDY) == TIDY


PLAN = "session: Quay\nparts:\n  - part: Main\n    steps:\n      - {step}\n"


def tidied_step(step: str) -> str:
    tidied = tidied_text(PLAN.replace("{step}", step.replace("\n", "\n        ")))
    assert tidied_text(tidied) == tidied
    return dedent(tidied.partition("    steps:\n")[2]).strip()


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ("{talk: 5s}", "- talk: 5s"),
        ("sides: both\nwork: 5s\nmove: Row", "- sides: both\n  work: 5s\n  move: Row"),
        ("? move\n: Row\n? work\n: 5s", "- move: Row\n  work: 5s"),
        # Braces.
        (
            "move: Row\nstages: [ {slow: 5s} , {fast: 5s,}]",
            "- move: Row\n  stages: [{slow: 5s}, {fast: 5s}]",
        ),
        (
            "move: Row\nstages: [{slow: 5s},\n  {fast: 5s}]  # then",
            "- move: Row\n  # then\n  stages:\n    - {slow: 5s}\n    - {fast: 5s}",
        ),
        (
            "move: Row\nstages: [ # all\n  {slow: 5s}, # first\n  {fast: 5s}]  # then",
            "- move: Row\n  # all\n  # first\n  # then\n  stages:\n    - {slow: 5s}\n    - {fast: 5s}",
        ),
        (
            "move: Row\nwork: 5s\ncues:\n  [ # c\n  {at: 1s, say: x}]",
            "- move: Row\n  work: 5s\n  cues:\n    # c\n    - {at: 1s, say: x}",
        ),
        ("{move: Row, work: 5s}  # own", "# own\n- move: Row\n  work: 5s"),
        ("move: Row\nstages: [{slow: 5s}]  # own", "- move: Row\n  stages: [{slow: 5s}]  # own"),
        # Texts.
        ("move: a#b\nwork: 5s # c", "- move: a#b\n  work: 5s  # c"),
        ("move: !!str Row\nwork: &w 5s\nrest: *w", "- move: !!str Row\n  work: &w 5s\n  rest: *w"),
        ('talk: 5s\nnotes: "one\n  # two"', '- talk: 5s\n  notes: "one # two"'),
        ("talk: 5s\nnotes: >-\n   one\n   two", "- talk: 5s\n  notes: >-\n    one\n    two"),
        (
            "talk: 5s\nnotes: |  # for me\n    one\n      two\n\n\n    three\n\n\n  # out",
            "- talk: 5s\n  # for me\n  notes: |\n    one\n      two\n\n\n    three\n\n  # out",
        ),
        (
            "move: 0o7\nwork: 5s\nnotes: 0x1F\nsetup: +1\neasier: 1.10\nharder: 2001-01-01",
            "- move: 0o7\n  work: 5s\n  notes: 0x1F\n  setup: +1\n  easier: 1.10\n  harder: 2001-01-01",
        ),
    ],
)
def test_ways_to_write_a_step(step: str, expected: str) -> None:
    assert tidied_step(step) == expected


def test_long_texts_are_broken_and_long_braces_are_written_in_lines() -> None:
    words = " ".join(["shoulders down and keep on breathing"] * 5)
    cues = ", ".join(f"{{at: {second}s, say: Keep breathing.}}" for second in range(1, 6))
    tidied = tidied_text(PLAN.replace("{step}", f"{{move: Row, work: 20s, setup: {words}, cues: [{cues}]}}"))
    assert max(map(len, tidied.splitlines())) <= tidy.WIDTH + len("shoulders")
    assert "\n          - {at: 1s, say: Keep breathing.}\n          - {at: 2s," in tidied
    assert tidied_text(tidied) == tidied


@pytest.mark.parametrize("ends", ["\r\n", "\r"])
def test_other_line_ends_and_a_byte_order_mark_go(ends: str) -> None:
    assert tidied_text("\ufeff" + TIDY.replace("\n", ends)) == TIDY


def test_comments_are_found_outside_of_texts() -> None:
    assert comments(TIDY) == [line.strip() for line in re.findall("#.*", TIDY)]
    assert comments(
        'session: "# none"\nparts: [{part: a#b, steps: [{talk: 1s}]}] # one\nnotes: |\n # no\n'
    ) == ["# one"]


SERIES = "sessions:\n- {date: 2026-11-30,   plan: a.yaml}  # first\nseries: Winter\n"
HOUSE = "calls:\n    start:   off\nvoice: clear # ours\n"


@pytest.mark.parametrize("aside", ["lexicon:\n  series: see-reez\n", "notes: |\n  series: 3 of 4\n"])
def test_a_plan_that_holds_the_word_of_a_series_is_a_plan(aside: str) -> None:
    text = f"session: Quay\n{aside}parts:\n  - part: Main\n    steps:\n      - rest: 5s\n"
    assert tidied_text(text) == text


def test_a_series_and_a_house_style_have_their_form_too() -> None:
    assert tidied_text(SERIES) == "sessions:\n  - {date: 2026-11-30, plan: a.yaml}  # first\nseries: Winter\n"
    assert tidied_text(HOUSE, "quay/house.yaml") == "calls:\n  start: off\nvoice: clear  # ours\n"


@pytest.mark.parametrize(
    ("text", "file", "fault"),
    [
        (TIDY.replace("lead-in: 5s", "lead-in: 5"), "plan", "'5' is a time without a unit"),
        (SERIES.replace("11-30", "11-31"), "plan", "'2026-11-31' is no date"),
        (HOUSE.replace("voice", "voise"), "house.yaml", "unknown key 'voise'"),
        (HOUSE, "plan", "'session' is missing"),
        ("a: [", "plan", "the file ends inside a bracket"),
        ("", "plan", "the file is empty"),
    ],
)
def test_a_text_with_mistakes_is_refused(text: str, file: str, fault: str) -> None:
    with pytest.raises(PlanError, match=fault):
        tidied_text(text, file)


def test_a_plan_that_would_grow_too_large_is_left_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    text = PLAN.replace("{step}", "{talk: 1s}")
    assert len(tidied_text(text)) < 1024
    monkeypatch.setattr(tidy, "MAX_SOURCE_BYTES", len(text) - 10)
    with pytest.raises(TidyError, match="KiB; it is left as it is"):
        tidied_text(text)


@pytest.mark.parametrize(("lost", "what"), [("# short", "a comment"), ("20s", "what it means")])
def test_what_would_be_lost_is_never_lost_in_silence(
    monkeypatch: pytest.MonkeyPatch, lost: str, what: str
) -> None:
    rewritten = tidy._rewritten
    monkeypatch.setattr(tidy, "_rewritten", lambda text: rewritten(text).replace(lost, "30s"))
    with pytest.raises(TidyError, match=f"would change {what}; it is left as it is"):
        tidied_text(TIDY)


@settings(quick, max_examples=10, phases=(Phase.generate,))  # making such plans smaller takes minutes
@given(plans)
def test_any_session_keeps_its_meaning(plan: dict[str, Any]) -> None:
    session = Session.model_validate(plan)
    tidied = tidied_text(plan_text(session))
    assert parse_plan(tidied) == session
    assert tidied_text(tidied) == tidied


def _indented_otherwise(text: str, indents: tuple[int, int, int] | None) -> str:
    """The plan as another coach may write it: lists beside their keys, or far in."""
    if indents is None:
        return text
    yaml, stream = yaml_of_texts(), io.StringIO()
    yaml.indent(*indents)
    yaml.dump(yaml.load(text), stream)
    return stream.getvalue()


@st.composite
def _commented(draw: st.DrawFn) -> str:
    """A plan of the project with comments, blank lines and blanks put in at random."""
    indents = draw(st.sampled_from([None, (2, 2, 0), (4, 6, 3), (3, 4, 0)]))
    lines = _indented_otherwise(draw(st.sampled_from(PLANS)), indents).split("\n")
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
                inside = f" # in {number}\n             "
                lines[at] = re.sub(r"(?<=[\[{,])(?=\s*\w)", inside, lines[at], count=1)
    return "\n".join(lines)


@settings(quick, max_examples=40)
@given(_commented())
def test_comments_anywhere_are_kept(text: str) -> None:
    try:
        session = parse_plan(text)
    except PlanError:
        return  # a comment may end what it stands in
    tidied = tidied_text(text)
    assert parse_plan(tidied) == session
    assert Counter(seen_comments(tidied)) == Counter(seen_comments(text))
    assert tidied_text(tidied) == tidied
    assert not re.search(r"[ \t]$|\n\n\n|\A\n", tidied, re.MULTILINE)
