"""A series file: dated sessions, each of a plan beside it → `Series`, its days, and the plan of one day."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PlainSerializer, PlainValidator, WithJsonSchema

from cuetrack.document.fields import Line, Name
from cuetrack.document.located import LocatedList, LocatedMap, Report, shown
from cuetrack.document.model import Node, read_document, refused
from cuetrack.document.source import read_source
from cuetrack.errors import Diagnostic, PlanError, UsageError
from cuetrack.plan.fields import Accepted, Level, Switch
from cuetrack.plan.model import OwnNotes, Session
from cuetrack.plan.times import FixedTimeField

# A year of a session every day.
MOST_DAYS = 366
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


def date_of(text: str) -> date | None:
    """The date that is written as ISO 8601 does, `2026-11-30`; None if it is none.

    >>> date_of("2026-02-28"), date_of("2026-02-30"), date_of("30.11.2026")
    (datetime.date(2026, 2, 28), None, None)
    """
    try:
        return date.fromisoformat(text) if _ISO_DATE.fullmatch(text) else None
    except ValueError:
        return None


def _date(value: Any) -> date:
    found = value if isinstance(value, date) else date_of(str(value).strip())
    if found is None:
        raise refused(f"{shown(value)} is no date", "write year, month and day, as in 2026-11-30")
    return found


IsoDate = Annotated[
    date,
    PlainValidator(_date),
    PlainSerializer(date.isoformat, return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "format": "date",
            "pattern": r"^\s*\d{4}-\d{2}-\d{2}\s*$",
            "examples": ["2026-11-30"],
        }
    ),
]


class DatedSession(Node):
    """One day of a series: its date, its plan, and what differs from it on this day."""

    example = "`{date: 2026-11-30, plan: strong.yaml}`"

    date: IsoDate = Field(description="The day it is taught, as ISO 8601 writes it.")
    plan: Line = Field(description="The plan's file, beside the series.", examples=["strong.yaml"])
    level: Level | None = Field(
        None, description="The version on this day; the plan's own if not given.", examples=["easier"]
    )
    length: FixedTimeField | None = Field(
        None, description="The promised length on this day; the plan's own if not given.", examples=["24:00"]
    )
    notes: OwnNotes = None


class Series(Node):
    """Dated sessions that belong together."""

    example = "`series: NAME`, with its `sessions:` below"

    series: Name = Field(description="The series' name.", examples=["Winter on the quay"])
    numbered: Switch = Field(True, description="Whether each session begins with its day, as in day 3 of 14.")
    accepted: Accepted | None = Field(
        None,
        description="Findings of `cuetrack series` that are as you want them, each with its reason.",
        examples=[{"following-days": "a training camp"}],
    )
    sessions: tuple[DatedSession, ...] = Field(
        min_length=1,
        max_length=MOST_DAYS,
        description="The sessions in the order of their dates.",
        examples=[
            [
                {"date": "2026-11-30", "plan": "strong.yaml"},
                {"date": "2026-12-03", "plan": "strong.yaml", "level": "harder"},
            ]
        ],
    )
    notes: OwnNotes = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Stops at a plan, of which nothing else need be said; reports dates that do not go up."""
        if "parts" in data and "sessions" not in data:
            hint = "`cuetrack check` looks at a plan, without `--day`; a series lists dated `sessions:`"
            place = data.key_places["parts"]
            raise PlanError([Diagnostic("error", "this is a plan, not a series", place, hint)])
        sessions, latest = data.get("sessions"), None
        for entry in sessions if isinstance(sessions, LocatedList) else ():
            written = entry.get("date") if isinstance(entry, LocatedMap) else None
            found = date_of(written.strip()) if isinstance(written, str) else None
            if found is None:
                continue
            if latest is not None and found <= latest:
                after = "the same as" if found == latest else "before"
                message = f"{found} is {after} the date above it, {latest}"
                hint = "put the dates in order, one a day; a second session of a day is another series"
                report(Diagnostic("error", message, entry.value_places["date"], hint))
            latest = found if latest is None else max(found, latest)
        return data


@dataclass(frozen=True, slots=True)
class Day:
    """One session of a series, and its number among them; `is_said` where its announcement is wanted."""

    number: int
    of: int
    is_said: bool
    entry: DatedSession


def read_series(path: Path) -> Series:
    """The series in the file `path`.

    Raises:
        PlanError: with every mistake in the file.
    """
    return read_document(read_source(path), Series)


def days_of(series: Series) -> Iterator[Day]:
    """The days of a series, counted from 1."""
    for number, entry in enumerate(series.sessions, start=1):
        yield Day(number, len(series.sessions), series.numbered, entry)


def day_called(series: Series, text: str) -> Day:
    """The day that a number or a date names.

    Raises:
        UsageError: there is none.
    """
    for day in days_of(series):
        if text.strip() in {str(day.number), day.entry.date.isoformat()}:
            return day
    first, last = series.sessions[0].date, series.sessions[-1].date
    days = "1 day" if len(series.sessions) == 1 else f"{len(series.sessions)} days"
    raise UsageError(
        f"no day {shown(text)}; {series.series!r} has {days}, from {first} to {last}: give a number or a date"
    )


def on_day(session: Session, day: Day) -> Session:
    """`session` with the level and the promised length of `day`, which keep their places in the series."""
    values: dict[str, Any] = {}
    places = dict(session._value_places)
    for key in ("level", "length"):
        value = getattr(day.entry, key)
        if value is None:
            continue
        values[key] = value
        if (place := day.entry.place_of(key)) is not None:
            places[key] = place
    changed = session.model_copy(update=values)
    changed._value_places = places
    return changed


def name_on_day(plan: Path, day: Day | None) -> str:
    """What the files made of a plan are called; `plan` is the series if it is one, whose `day` is told, too.

    As many digits as the last day has, so that files sorted by name are in the order of the days.

    >>> name_on_day(Path("quay/strong.yaml"), None)
    'strong'
    """
    return plan.stem if day is None else f"{plan.stem}-day-{day.number:0{len(str(day.of))}}"
