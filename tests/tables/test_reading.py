"""Tables as coaches keep them → sessions; every row that cannot be read is named."""

from __future__ import annotations

import pytest

from cuetrack.build_tables import read_table
from cuetrack.errors import PlanError, UsageError
from cuetrack.plan.text import parse_plan
from tests.tables.helpers import faults, read

HEAD = "Part,Rounds,Exercise,Work,Rest\n"


def test_a_coachs_table() -> None:
    """One row a move; part and rounds in the first row of each part, or in all."""
    table = (
        "Section;Runden;Übung;Dauer (Sek.);Pause;Seiten;Material\n"
        "Warm-up;;March;40;10s;;\n"
        ";;Arm circles;1,5 Min.;–;;\n"
        ";;;;30;;\n"
        "Circuit;2x;Row;45;0:20;;Band, Stuhl\n"
        "Circuit;2x;Lunge;30-45;0;je Seite;\n"
    ).replace(";30;;", ";30 Sek;;")
    expected = """
session: table
parts:
  - part: Warm-up
    steps:
      - {move: March, work: 40s, rest: 10s}
      - {move: Arm circles, work: 1.5 min}
      - rest: 30s
  - part: Circuit
    rounds: 2
    steps:
      - {move: Row, work: 45s, rest: 20s, equipment: [Band, Stuhl]}
      - {move: Lunge, work: 30s..45s, rest: 0s, sides: both}
"""
    moved = read(table)
    assert moved.session == parse_plan(expected)
    assert moved.warnings == ()
    assert moved.counts() == (2, 4, 1)


@pytest.mark.parametrize(
    "heading",
    [
        *("move,work,rest", "Exercise,Time,Break", "Übung,Dauer,Pause", "EJERCICIO,Duración,Descanso"),
        *("Exercice,Durée,Repos", "Ubung:,arbeitszeit,erholung", "Mouvement,Travail,Récupération"),
        *("Ejercicio,trabajo,recuperacion", "Movimiento, tiempo , PAUSA"),
    ],
)
def test_headings_in_four_languages(heading: str) -> None:
    expected = parse_plan(
        "session: table\nparts:\n  - {part: table, steps: [{move: Row, work: 20s, rest: 5s}]}"
    )
    assert read(f"{heading}\nRow,20s,5s\n").session == expected


def test_rows_of_every_kind_and_values_in_braces() -> None:
    table = """kind,session,part,rounds,move,work,stages,rest,talk,calls,cues,length,bed
session,Quay,,,,,,,,{start: {count: 5}},,10:00,{pulse: 120 bpm}
part,,Main,3,,,"slow: 20s, fast: 10s",15s,,off: no,,,off
talk,,Main,,,,,,30s,,"[{at: -5s, say: ""Here, now""}]",,
move,,Main,,Row,,,,,,,,
Pause,,Main,,,,,45s,,,,,
part,,Main,,,,,,,,,,
rest,,,,,,,5s,,,,,
""".replace("off: no", "{halfway: on}")
    expected = """
session: Quay
calls: {start: {count: 5}}
length: 10:00
bed: {pulse: 120 bpm}
parts:
  - part: Main
    rounds: 3
    stages: [{slow: 20s}, {fast: 10s}]
    rest: 15s
    calls: {halfway: on}
    bed: off
    steps:
      - talk: 30s
        cues: [{at: -5s, say: "Here, now"}]
      - move: Row
      - rest: 45s
  - part: Main
    steps:
      - rest: 5s
"""
    assert read(table).session == parse_plan(expected)


def test_every_row_that_cannot_be_read_is_reported() -> None:
    table = (
        HEAD + "Main,2,March,40,10s\n,,,20s,\n,3,Row,30s,5s\n,,Squat,,\n,,Lunge,soon,5 s\nNext,x,Row,20s,\n"
    )
    assert faults(table) == [
        "row 2, column D (Work): '40' is a time without a unit / write 40s or 40 min; or put the unit into "
        "the heading, such as `work (s)`",
        "row 3, column D (Work): `work` stands in a row that names no move, rest or talk / name the move, or "
        "remove the row",
        "row 4, column B (Rounds): the part has 2 rounds, from row 2 / keep one of the two",
        "row 5, column C (Exercise): the move 'Squat' has no working time / add `work: 40s` or `stages: […]` "
        "to it, or to its part",
        "row 6, column D (Work): 'soon' is not a time / write a time like 30s, 1:30, 2 min or 1 min 30 s",
        "row 7, column B (Rounds): 'rounds' has to be a whole number, found 'x' / write a number such as 2",
    ]


def test_a_part_without_rounds_has_one_which_may_be_said_later() -> None:
    table = HEAD + "Main,,March,40s,10s\n,1,Row,30s,5s\n"
    assert [part.rounds for part in read(table).session.parts] == [1]
    (fault,) = faults(table.replace(",1,", ",2,"))
    assert fault == "row 3, column B (Rounds): the part has 1 round, from row 2 / keep one of the two"


def test_a_finding_points_into_its_row() -> None:
    with pytest.raises(PlanError) as raised:
        read(HEAD + "Main,2,March,40,10s\n")
    assert str(raised.value).splitlines()[:3] == [
        "table.csv:2:20: error: row 2, column D (Work): '40' is a time without a unit",
        "    Main | 2 | March | 40 | 10s",
        "                       ^^",
    ]


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        (
            "Main,2,Row,20s,5s,Keep breathing",
            "row 2, column F: 'Keep breathing' stands under no heading / put a",
        ),
        ("part;", "row 2, column A (Part): 'steps' is empty"),
        ("Main,0,Row,20s", "row 2, column B (Rounds): 'rounds' is '0', allowed is at least 1"),
        ("Main,,Row,25:00:01", "row 2, column D (Work): '25:00:01' is longer than 24 h"),
        (
            "Main,,Row,20:30:00",
            "row 2, column D (Work): '20:30:00' is a time of hours; 20:30 may have been meant / write it",
        ),
        ("Main,,Row,20s..10s", "row 2, column D (Work): '20s..10s' runs backwards"),
        (f"Main,,{'x' * 121},20s", "row 2, column C (Exercise): 121 characters, allowed are 120"),
        ("Main,,R\x07w,20s", "row 2, column C (Exercise): control character U+0007"),
    ],
)
def test_what_is_refused_in_a_row(row: str, fault: str) -> None:
    assert any(found.startswith(fault) for found in faults(HEAD + row + "\n")), faults(HEAD + row + "\n")


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        ("", "the table is empty"),
        ("\n , \n\n", "the table is empty"),
        ("Name,Dauer,Pause\nRow,20s,5s\n", "no column is headed as the move; found 'Name', 'Dauer', 'Pause'"),
        (HEAD, "row 1: the table holds no move"),
        ("move,exercise,work\nRow,,20s\n", "column B and column A (move) both hold `move`"),
        (
            "kind,move,work\nlunch,Row,20s\n",
            "row 2, column A (kind): 'lunch' is no kind of row / allowed: session",
        ),
        (
            "kind,move,work\nrest,Row,20s\n",
            "row 2, column B (move): `move` has no place in a row that is a rest",
        ),
        ("kind,move,work,rest\nrest,,,\n", "row 2: this rest has no time / fill the cell under `rest`"),
        ("move,work,calls\nRow,20s,{start: [}\n", "row 2, column C (calls): a value is missing before this"),
        (
            "move,work,calls\nRow,20s,{strat: off}\n",
            "row 2, column C (calls): unknown key 'strat' / did you mean",
        ),
        (
            "move,work,calls\nRow,20s,{a: &b [*b]}\n",
            "row 2, column C (calls): anchors (&) and aliases (*) have no",
        ),
        ("move,work,calls\nRow,20s," + "[" * 5000 + "\n", "row 2, column C (calls): too many levels"),
        ("move,work,sides\nRow,20s,both legs\n", "row 2, column C (sides): 'both legs' is no side"),
        ("move,work,easier\nRow,20s,[sit] down\n", ""),
        ('move,work\n"Row,20s\n', "row 2: a quote is opened in this row and never closed"),
        ('move,work\n"Row"s,20s\n', "row 2: a quote ends before its cell does"),
        (
            "session,move,work\nQuay,Row,20s\nSlip,Row,20s\n",
            "row 3, column A (session): the session is 'Quay' already",
        ),
    ],
)
def test_what_is_refused_in_a_table(table: str, fault: str) -> None:
    if not fault:
        assert read(table).session.parts[0].steps[0].easier == "[sit] down"  # type: ignore[union-attr]
        return
    assert any(found.startswith(fault) for found in faults(table)), faults(table)


def test_columns_are_mapped_by_an_option() -> None:
    table = "Name,On,Off,Work\nRow,20,10,hard\n"
    moved = read(table, "move=Name", "work (s)=On", "rest (s)=off")
    assert moved.session == parse_plan(
        "session: table\nparts:\n  - {part: table, steps: [{move: Row, work: 20s, rest: 10s}]}"
    )
    assert [warning.message for warning in moved.warnings] == [
        "row 1, column D (Work): the column is not used"
    ]


def test_the_unit_of_a_heading_holds_for_a_column_that_an_option_maps() -> None:
    table = "Name,On [min],Off in s\nRow,2,10\n"
    moved = read(table, "move=Name", "work=on [min]", "rest (s)=Off in s")
    assert moved.session == parse_plan(
        "session: table\nparts:\n  - {part: table, steps: [{move: Row, work: 2 min, rest: 10s}]}"
    )


@pytest.mark.parametrize(
    ("option", "message"),
    [
        ("work", "names no heading; write it like work=Dauer"),
        ("wrok=On", "'wrok' is no key of a plan; did you mean 'work'"),
        ("work=Out", "no column is headed 'out'; found 'Name', 'On'"),
    ],
)
def test_an_option_that_maps_nothing(option: str, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        read("Name,On,Off,Work\nRow,20,10,hard\n", "move=Name", option)


def test_what_is_not_read_is_told() -> None:
    table = "Rest day,,\nWork,Exercise,Coach\n30s,Row,Ada\n30s,Pause,\n"
    assert [f"{warning.message} / {warning.hint}" for warning in read(table).warnings] == [
        "row 4, column B (Exercise): 'Pause' is read as a move / put its time under `rest` and no name under "
        "`move` if it is none",
        "row 2, column C (Coach): the column is not used / say --column KEY=HEADING if the plan needs it",
        "row 1: it stands above the headings in row 2 and is not read / None",
    ]


def test_the_sessions_name_is_that_of_the_file(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "Monday on the quay.csv"
    path.write_text(HEAD + "Main,,Row,20s,\n", encoding="utf-8")
    assert read_table(path).session.session == "Monday on the quay"
