"""Plan files and plan text: real ones read alike whatever their line ends, comments and byte order mark."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan, read_plan
from tests.helpers.plan_text import plan_text

ROOT = Path(__file__).parents[2]
PLANS = sorted([*ROOT.glob("samples/*.yaml"), *ROOT.glob("cuetrack/cli/*.yaml")])


def test_there_are_real_plans() -> None:
    assert len(PLANS) >= 4


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_real_plan_written_back_reads_the_same(plan: Path) -> None:
    session = read_plan(plan)
    text = plan_text(session)
    assert parse_plan(text) == session
    assert plan_text(parse_plan(text)) == text


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["no mark", "byte order mark"])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n", b"\r"], ids=["lf", "crlf", "cr"])
def test_line_ends_and_byte_order_mark_change_nothing(
    tmp_path: Path, plan: Path, mark: bytes, line_end: bytes
) -> None:
    lines = plan.read_bytes().splitlines()
    copy = tmp_path / "plan.yaml"
    copy.write_bytes(mark + line_end.join(lines) + line_end)
    there, here = read_plan(copy), read_plan(plan)
    assert there == here
    place, original = there.parts[-1].place, here.parts[-1].place
    assert place is not None
    assert original is not None
    assert (place.line, place.column, place.line_text) == (original.line, original.column, original.line_text)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_comments_and_blank_lines_change_nothing(plan: Path) -> None:
    text = plan.read_text(encoding="utf-8")
    bare = [line for line in text.splitlines() if not line.lstrip().startswith("#")]
    noisy = [noise for line in bare for noise in ("", "# between: {lines]", f"{line}  # 'after' the line")]
    assert parse_plan("\n".join(bare)) == parse_plan("\n".join(noisy)) == parse_plan(text)


def test_plan_text_writes_what_was_set_in_the_long_forms() -> None:
    session = parse_plan(
        "session: 'Quay: 1'\nlead-in: 90s\ncalls: {start: {count: [3, 2, 1]}, halfway: on, announce: off}\n"
        "parts: [{part: b, steps: [{move: c, sides: both, stages: [{slow: 20s..41s}]}]}]\n"
    )
    assert plan_text(session) == (
        "session: 'Quay: 1'\n"
        "lead-in: 1 min 30 s\n"
        "calls:\n"
        "  announce: off\n"
        "  start:\n"
        "    count: 3\n"
        "  halfway: on\n"
        "parts:\n"
        "- part: b\n"
        "  steps:\n"
        "  - move: c\n"
        "    stages:\n"
        "    - stage: slow\n"
        "      work: 20 s..41 s\n"
        "    sides:\n"
        "    - left\n"
        "    - right\n"
    )


def test_nothing_is_written_for_what_a_program_set_to_none() -> None:
    session = Session.model_validate(
        {
            "session": "a",
            "voice": None,
            "calls": None,
            "parts": [{"part": "b", "steps": [{"rest": "5s", "notes": None}]}],
        }
    )
    assert plan_text(session) == "session: a\nparts:\n- part: b\n  steps:\n  - rest: 5 s\n"
    assert parse_plan(plan_text(session)) == session


def test_places_carry_the_name_of_the_file() -> None:
    session = parse_plan("session: a\nparts: [{part: b, steps: [{talk: 5s}]}]", "thursday.yaml")
    assert str(session.parts[0].steps[0].place) == "thursday.yaml:2:28"
