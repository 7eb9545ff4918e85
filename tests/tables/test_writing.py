"""A plan written as a table and read again is the same session."""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, Phase, given, settings

from cuetrack.build_tables import ENDINGS, session_in_table, table_bytes
from cuetrack.plan.model import Session
from cuetrack.plan.text import parse_plan
from cuetrack.tables.writing import losses, table_rows
from tests.plan.test_round_trip import plans

# Such plans are large, and making one smaller takes minutes.
NO_SHRINKING = (Phase.explicit, Phase.generate)


@settings(
    deadline=None,
    database=None,
    max_examples=10,
    phases=NO_SHRINKING,
    suppress_health_check=list(HealthCheck),
)
@given(plans)
def test_any_session_comes_back_or_its_loss_is_told(plan: dict[str, Any]) -> None:
    session = Session.model_validate(plan)
    for ending in ENDINGS:
        data, warnings = table_bytes(session, ending)
        if not warnings:
            assert session_in_table(data, "table", ending).session == session
        assert ending == ".xlsx" or warnings == ()


def test_the_rows_of_a_small_plan() -> None:
    session = parse_plan(
        "session: Quay\nparts:\n  - part: Main\n    rest: 5s\n    steps:\n"
        "      - {move: Row, stages: [{slow: 1:30}], sides: both, tempo: 3-1-2-0, equipment: [mat, band]}\n"
        "      - talk: 9s\n"
    )
    rows, warnings = table_rows(session)
    assert warnings == []
    assert rows == [
        ["kind", "session", "part", "move", "work", "stages", "sides", "rest", "talk", "equipment", "tempo"],
        ["session", "Quay", "", "", "", "", "", "", "", "", ""],
        ["part", "", "Main", "", "", "", "", "5 s", "", "", ""],
        ["move", "", "Main", "Row", "", "slow: 1 min 30 s", "both", "", "", "mat, band", "3-1-2-0"],
        ["talk", "", "Main", "", "", "", "", "", "9 s", "", ""],
    ]


def test_what_a_cell_cannot_hold_is_left_out_and_told() -> None:
    cues = ", ".join(f"{{at: {second}s, say: {'x' * 490}}}" for second in range(80))
    plan = f"session: Quay\nparts:\n  - part: Main\n    steps:\n      - talk: 9s\n        cues: [{cues}]\n"
    data, (warning,) = table_bytes(parse_plan(plan), ".xlsx")
    assert warning.message.startswith("`cues` has 4")
    assert warning.message.endswith("characters and is left out; a cell holds 32767")
    assert warning.place is not None
    assert warning.place.line == 5
    assert session_in_table(data, "table", ".xlsx").session.parts[0].steps[0].cues == ()
    assert table_bytes(parse_plan(plan), ".csv")[1] == ()


def test_what_is_lost_is_found_wherever_it_is() -> None:
    plan = "session: Quay\nlead-in: 5s\nparts:\n  - part: Main\n    steps:\n      - {move: Row, work: 5s}\n"
    session = parse_plan(plan)
    assert list(losses(session, session)) == []
    changed = plan.replace("lead-in: 5s\n", "").replace("work: 5s", "work: 6s").replace("Main", "Other")
    assert [
        (found.message, found.place.line if found.place else 0)
        for found in losses(session, parse_plan(changed))
    ] == [
        ("the table does not give back `lead-in` of this session", 1),
        ("the table does not give back `part` of this part", 4),
        ("the table does not give back `part` of this move", 6),
        ("the table does not give back `work` of this move", 6),
    ]
    longer = plan + "      - rest: 5s\n"
    assert [found.message for found in losses(session, parse_plan(longer))] == [
        "the table, read again, is another session"
    ]
