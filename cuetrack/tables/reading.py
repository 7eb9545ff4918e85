"""A table → the session in it, with every mistake at its row and column.

`columns_of` finds the headings, `session_of` reads the rows below them; `known_columns` tells what a row
would head. The plan's own model reads what the cells say, so a table allows what a plan allows, and says it
alike. Whole files are read by `session_in_table` of `build_tables.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pydantic import ValidationError

from cuetrack.document.findings import findings
from cuetrack.document.located import MAX_VALUES, Located, LocatedList, LocatedMap, shown
from cuetrack.errors import Diagnostic, Place, PlanError, UsageError
from cuetrack.plan.model import Session
from cuetrack.tables.cells import NOTHING, TIME_KEYS, looks_like_a_clock, most_values, placed, value_of_cell
from cuetrack.tables.headings import (
    COLUMN_KEYS,
    KIND,
    MODELS,
    SESSION_KEYS,
    Column,
    column_of,
    folded,
    kind_of_word,
    unit_in_heading,
)
from cuetrack.tables.sheet import Cell, Row, Sheet, column_letter, refused_table, shown_cell

_SEARCHED_ROWS = 30
_STEPS = ("move", "rest", "talk")
# What a row of another kind may also say: the name of its part and session, and the part's rounds.
_ALSO = {"session": (), "part": ("session",)} | dict.fromkeys(_STEPS, ("session", "part", "rounds"))
# What stands for a cell at fault, or its row would be told to lack it as well.
_STAND_INS = {
    **dict.fromkeys(TIME_KEYS, "1 s"),
    **dict.fromkeys(("session", "part", "move"), "?"),
    "sides": "both",
}


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column holds what: the row of headings, and what stands under which (counted from 0)."""

    headings: Row
    keys: Mapping[int, Column]

    def label(self, column: int) -> str:
        """A column for a message: its letter and its heading."""
        heading = shown_cell(self.headings.cell(column).text)
        return f"column {column_letter(column)} ({heading})" if heading else f"column {column_letter(column)}"


def columns_of(sheet: Sheet, mapped: Mapping[str, Column]) -> Columns:
    """The headings of the table: the first row that heads a column as the move, or as the kind of row.

    Raises:
        PlanError: there is none, or two columns say the same.
        UsageError: a heading that an option maps is not there.
    """
    first_rows = [row for _, row in zip(range(_SEARCHED_ROWS), sheet.filled(), strict=False)]
    if not first_rows:
        raise refused_table(
            sheet.file, "the table is empty", "give it a row of headings, and a row for each move"
        )
    for row in first_rows:
        keys = known_columns([cell.text for cell in row.cells], mapped)
        enough = min(2, sum(map(bool, row.cells)))  # one word may stand in any row
        if len(keys) >= enough and {column.key for column in keys.values()} & {KIND, "move"}:
            _refuse_wrong_mapping(row, mapped)
            _refuse_twice(sheet, row, keys)
            return Columns(row, keys)
    _refuse_wrong_mapping(first_rows[0], mapped)
    found = ", ".join(shown(cell.text) for cell in first_rows[0].cells if cell)[:200]
    hint = "head one column `move` (or exercise, Übung, ejercicio, exercice), or say --column 'move=HEADING'"
    place = sheet.place(first_rows[0])
    raise PlanError([Diagnostic("error", f"no column is headed as the move; found {found}", place, hint)])


def known_columns(headings: list[str], mapped: Mapping[str, Column]) -> dict[int, Column]:
    """What is under each heading that says so."""
    taken = {column.key for column in mapped.values()}
    keys: dict[int, Column] = {}
    for number, heading in enumerate(headings):
        own, given = column_of(heading), mapped.get(folded(heading)) if heading else None
        if given:
            keys[number] = replace(given, unit=given.unit or unit_in_heading(heading))
        elif own and own.key not in taken:
            keys[number] = own
    has_kinds = any(column.key == KIND for column in keys.values())
    return {n: column for n, column in keys.items() if has_kinds or column.key not in SESSION_KEYS - taken}


def _refuse_wrong_mapping(row: Row, mapped: Mapping[str, Column]) -> None:
    there = {folded(cell.text): shown(cell.text) for cell in row.cells if cell}
    for heading in mapped:
        if heading not in there:
            found = ", ".join(there.values())[:300]
            raise UsageError(f"--column: no column is headed {heading!r}; found {found}")


def _refuse_twice(sheet: Sheet, row: Row, keys: Mapping[int, Column]) -> None:
    first: dict[str, int] = {}
    faults = []
    for number, column in keys.items():
        if column.key in first:
            other = f"{column_letter(first[column.key])} ({shown_cell(row.cell(first[column.key]).text)})"
            message = f"column {column_letter(number)} and column {other} both hold `{column.key}`"
            hint = f"rename one, or say --column '{column.key}=HEADING'"
            faults.append(Diagnostic("error", message, sheet.place(row, number), hint))
        first.setdefault(column.key, number)
    if faults:
        raise PlanError(faults)


def session_of(sheet: Sheet, columns: Columns, name: str) -> tuple[Session, tuple[Diagnostic, ...]]:
    """The session in the table, called `name` if the table does not say, and what was noticed.

    Raises:
        PlanError: with every row that cannot be read.
    """
    reader = _Reader(sheet, columns)
    root = reader.root(name)
    session = None
    try:
        session = Session.model_validate(root.value, context={"report": reader.report})
    except ValidationError as error:
        for found in list(findings(error, root, tuple(reader.found))):
            reader.report(found)
    if session is None or reader.found:
        raise PlanError([reader.labelled(found) for found in dict.fromkeys(reader.found)])
    return session, tuple(reader.labelled(warning) for warning in reader.warnings)


class _Reader:
    """One pass over the rows below the headings."""

    def __init__(self, sheet: Sheet, columns: Columns) -> None:
        self._sheet = sheet
        self._columns = columns
        self.found: list[Diagnostic] = []
        self.warnings: list[Diagnostic] = []
        self._labels: dict[Place, str] = {}
        self._values = 0
        self._session = placed(LocatedMap(), sheet.place(columns.headings))
        self._parts = LocatedList()
        self._part: LocatedMap | None = None
        self._part_row = columns.headings
        self._kind_column = next((n for n, column in columns.keys.items() if column.key == KIND), None)

    def report(self, diagnostic: Diagnostic) -> None:
        self.found.append(diagnostic)

    def labelled(self, diagnostic: Diagnostic) -> Diagnostic:
        """The finding with the row and the column in its words."""
        label = self._labels.get(diagnostic.place) if diagnostic.place else None
        message = f"{label}: {diagnostic.message}" if label else diagnostic.message
        hint = diagnostic.hint
        if diagnostic.message.endswith("is a time without a unit"):
            hint = f"{hint}; or put the unit into the heading, such as `work (s)`"
        return replace(diagnostic, message=message, hint=hint)

    def root(self, name: str) -> Located:
        """The whole plan as the model reads it."""
        headings = self._columns.headings
        self._parts.place, self._parts.item_places = self._place(headings), []
        for row in self._sheet.filled():
            if row.number > headings.number:
                self._row(row)
        self._warn_of_the_unused()
        if not self._parts:
            hint = "give each move, rest or talk a row of its own below the headings"
            nothing = Diagnostic("error", "the table holds no move", self._parts.place, hint)
            raise PlanError(map(self.labelled, self.found or [nothing]))
        _set(self._session, "parts", self._parts, self._parts.place)
        if "session" not in self._session:
            _set(self._session, "session", name, self._parts.place)
        for part in self._parts:
            if "part" not in part:
                _set(part, "part", str(self._session["session"]), part.place)
        return Located(self._session, self._parts.place)

    def _row(self, row: Row) -> None:
        filled = {column.key: n for n, column in self._columns.keys.items() if _says(row.cell(n))}
        self._refuse_cells_beyond(row)
        kind = self._kind(row, filled)
        if kind is None:
            return
        allowed = (*MODELS[kind].allowed_keys(), *_ALSO[kind])
        values, is_faulty = placed(LocatedMap(), self._place(row)), False
        for key, number in filled.items():
            if key in allowed:
                is_faulty |= not self._read(row, number, key, values)
            elif key != KIND:
                able = ", ".join(name for name in COLUMN_KEYS if name in allowed)
                message = f"`{key}` has no place in a row that is a {kind}"
                self._report_cell(row, number, message, f"leave the cell empty; such a row can hold {able}")
        if is_faulty and kind == "move" and not values.keys() & {"work", "stages"}:
            _set(values, "work", _STAND_INS["work"], values.place)
        self._take(kind, row, values)

    def _kind(self, row: Row, filled: Mapping[str, int]) -> str | None:
        """What the row is: its own word, or else what its cells make of it."""
        if self._kind_column is not None and row.cell(self._kind_column):
            word = row.cell(self._kind_column).text
            kind = kind_of_word(word)
            if kind is None:
                hint = f"allowed: {', '.join(MODELS)}; or leave the cell empty"
                self._report_cell(row, self._kind_column, f"{shown(word)} is no kind of row", hint)
            return kind
        kind = next((key for key in ("move", "talk", "rest", "part", "session") if key in filled), None)
        if kind is None and filled:
            key, number = next(iter(filled.items()))
            message = f"`{key}` stands in a row that names no move, rest or talk"
            self._report_cell(row, number, message, "name the move, or remove the row")
        return kind

    def _read(self, row: Row, number: int, key: str, values: LocatedMap) -> bool:
        """Puts what a cell says into `values`; whether it could be read."""
        cell, place = row.cell(number), self._place(row, number)
        self._values += most_values(key, cell.text)
        if self._values > MAX_VALUES:
            message = f"the table holds more than {MAX_VALUES} values, as many as a plan can"
            raise PlanError(
                [self.labelled(Diagnostic("error", message, place, "keep one session in one table"))]
            )
        if cell.remark is not None:
            self.warnings.append(Diagnostic("warning", cell.remark, place))
        if key == "move" and kind_of_word(cell.text) in {"rest", "talk"}:
            hint = f"put its time under `{kind_of_word(cell.text)}` and no name under `move` if it is none"
            self.warnings.append(Diagnostic("warning", f"{shown(cell.text)} is read as a move", place, hint))
        try:
            if cell.fault is not None:
                raise PlanError([Diagnostic("error", cell.fault[0], place, cell.fault[1])])
            if key in TIME_KEYS - {"length"} and looks_like_a_clock(cell.text):
                message = f"{shown(cell.text)} is a time of hours; {cell.text[:-3]} may have been meant"
                hint = "write it like 20 min 30 s, or 20 h 30 min"
                raise PlanError([Diagnostic("error", message, place, hint)])
            value = value_of_cell(key, cell.text, self._columns.keys[number].unit, place)
        except PlanError as error:
            self.found += error.diagnostics
            if key in _STAND_INS:
                _set(values, key, _STAND_INS[key], place)
            return False
        if value is not None:
            _set(values, key, value, place)
        return True

    def _take(self, kind: str, row: Row, values: LocatedMap) -> None:
        """Puts what a row says where it belongs: into the session, a part, or the steps of a part."""
        self._take_name(values, "session")
        if kind == "session":
            for key in [key for key in values if key != "session"]:
                self._once(self._session, key, values, f"the session has its `{key}` already")
            return
        name = values.get("part")
        if kind == "part" or self._part is None or (name is not None and name != self._part.get("part")):
            keys = values.keys() if kind == "part" else {"part", "rounds"}
            self._begin_part(row, values, [key for key in values if key in keys])
        elif "rounds" in values and values["rounds"] != (known := self._part.get("rounds", "1")):
            rounds = "1 round" if known == "1" else f"{known} rounds"
            said = f"the part has {rounds}, from row {self._part_row.number}"
            self._once(self._part, "rounds", values, said)
        if kind != "part":
            step = values.without({"part", "rounds"})
            if kind not in step:
                message = f"this {kind} has no name" if kind == "move" else f"this {kind} has no time"
                self.report(Diagnostic("error", message, values.place, f"fill the cell under `{kind}`"))
                return
            steps = self._part["steps"] if self._part else LocatedList()
            steps.append(step)
            steps.item_places.append(values.place)

    def _take_name(self, values: LocatedMap, key: str) -> None:
        """The session's name may be repeated in every row."""
        if key in values:
            self._once(self._session, key, values, f"the session is {shown(self._session.get(key))} already")
            del values[key]

    def _once(self, target: LocatedMap, key: str, values: LocatedMap, message: str) -> None:
        """Sets what may be said again but not differently."""
        place = values.value_places[key]
        if key not in target and not (key == "rounds" and target.get("steps")):
            _set(target, key, values[key], place)
        elif target.get(key) != values[key]:
            self.report(Diagnostic("error", message, place, "keep one of the two"))

    def _begin_part(self, row: Row, values: LocatedMap, keys: list[str]) -> None:
        part = placed(LocatedMap(), values.place)
        for key in keys:
            _set(part, key, values[key], values.value_places[key])
        steps = LocatedList()
        steps.place, steps.item_places = values.place, []
        _set(part, "steps", steps, values.place)
        self._parts.append(part)
        self._parts.item_places.append(values.place)
        self._part, self._part_row = part, row

    def _place(self, row: Row, column: int | None = None) -> Place:
        place = self._sheet.place(row, column)
        where = f", {self._columns.label(column)}" if column is not None else ""
        self._labels[place] = f"row {row.number}{where}"
        return place

    def _report_cell(self, row: Row, column: int, message: str, hint: str) -> None:
        self.report(Diagnostic("error", message, self._place(row, column), hint))

    def _refuse_cells_beyond(self, row: Row) -> None:
        """A text with a separator in it, not put into quotes, moves the cells behind it to the right."""
        last = max((n for n, cell in enumerate(self._columns.headings.cells) if cell), default=0)
        beyond = next((n for n, cell in enumerate(row.cells) if n > last and cell), None)
        if beyond is not None:
            hint = 'put a text that holds the separator into "quotes"; or give the column a heading'
            message = f"{shown(row.cell(beyond).text)} stands under no heading"
            self._report_cell(row, beyond, message, hint)

    def _warn_of_the_unused(self) -> None:
        """Columns and rows that hold something and are not read."""
        headings = self._columns.headings
        below = [row for row in self._sheet.filled() if row.number > headings.number]
        for number, heading in enumerate(headings.cells):
            used = number in self._columns.keys or not (heading or any(row.cell(number) for row in below))
            if not used:
                hint = "say --column KEY=HEADING if the plan needs it" if heading else "give it a heading"
                place = self._place(headings, number)
                self.warnings.append(Diagnostic("warning", "the column is not used", place, hint))
        for row in self._sheet.filled():
            if row.number < headings.number:
                message = f"it stands above the headings in row {headings.number} and is not read"
                self.warnings.append(Diagnostic("warning", message, self._place(row)))


def _set(mapping: LocatedMap, key: str, value: object, place: Place) -> None:
    mapping[key] = value
    mapping.key_places[key] = mapping.value_places[key] = place


def _says(cell: Cell) -> bool:
    return cell.fault is not None or (bool(cell.text) and cell.text not in NOTHING)
