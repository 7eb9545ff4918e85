"""Times of a plan: fixed, flexible (`20s..40s`), counted (`32 counts`, `8 reps`), and points in a phase."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import PlainSerializer, PlainValidator, WithJsonSchema

from cuetrack.document.located import shown
from cuetrack.document.model import refused
from cuetrack.errors import TimeError
from cuetrack.timebase import Duration, decimal_text, duration_text, parse_duration
from cuetrack.timebase.text import TIME_EXAMPLES

MAX_TIME = Duration(Fraction(24 * 3600))
# No time needs more; also keeps what a message quotes short.
_MAX_CHARACTERS = 60

_RANGE = re.compile(r"(.+?)\s*(?:\.\.|–|—)\s*(.+)")
_COUNTS = re.compile(r"(\d{1,5})\s*(count|rep)s?", re.ASCII)
_PERCENT = re.compile(r"(\d{1,3}(?:\.\d{1,6})?)\s*%", re.ASCII)


@dataclass(frozen=True, slots=True)
class FixedTime:
    """A length that is known as written."""

    length: Duration

    def __str__(self) -> str:
        return duration_text(self.length)


@dataclass(frozen=True, slots=True)
class FlexibleTime:
    """A length somewhere between two, both included."""

    shortest: Duration
    longest: Duration
    # What it is if nothing asks for another; the middle if None.
    usual: Duration | None = None

    def __str__(self) -> str:
        return f"{duration_text(self.shortest)}..{duration_text(self.longest)}"

    def middle(self) -> Duration:
        """The usual time; else the midpoint, to the whole second where one lies in the range, a half up.

        >>> str(FixedTime(FlexibleTime(parse_duration("20s"), parse_duration("41s")).middle()))
        '31 s'
        """
        if self.usual is not None:
            return self.usual
        middle = (self.shortest.seconds + self.longest.seconds) / 2
        whole = Duration(Fraction((middle + Fraction(1, 2)) // 1))
        return whole if self.shortest <= whole <= self.longest else Duration(middle)


@dataclass(frozen=True, slots=True)
class CountedTime:
    """A length in beats of the music or of the move, or in repetitions (`rep`) of the move."""

    counts: int
    unit: Literal["count", "rep"] = "count"

    def __str__(self) -> str:
        return f"{self.counts} {self.unit}" if self.counts == 1 else f"{self.counts} {self.unit}s"


PlanTimeValue = FixedTime | FlexibleTime | CountedTime


@dataclass(frozen=True, slots=True)
class FromStart:
    """A point so long after the start."""

    offset: Duration

    def __str__(self) -> str:
        return duration_text(self.offset)


@dataclass(frozen=True, slots=True)
class FromEnd:
    """A point so long before the end."""

    offset: Duration

    def __str__(self) -> str:
        return f"-{duration_text(self.offset)}"


@dataclass(frozen=True, slots=True)
class Share:
    """A point at a share of the length, 0 to 100."""

    percent: Fraction

    def __str__(self) -> str:
        return f"{decimal_text(self.percent)}%"


PointValue = FromStart | FromEnd | Share


def _as_text(value: Any) -> str:
    """The text of a scalar, from a document or (a number, say) from a program."""
    text = str(value).strip()
    if isinstance(value, dict | list | tuple) or value is None or len(text) > _MAX_CHARACTERS:
        raise refused(f"{shown(value)} is not a time", f"write a time like {TIME_EXAMPLES}")
    return text


def _checked_length(text: str) -> Duration:
    try:
        length = parse_duration(text)
    except TimeError as error:
        raise refused(str(error), error.hint) from None
    if length > MAX_TIME:
        raise refused(f"{text!r} is longer than 24 h", "a session lasts at most 24 h")
    return length


def _fixed(value: Any) -> FixedTime:
    if isinstance(value, FixedTime):
        return value
    text = _as_text(value)
    if _RANGE.fullmatch(text) or _COUNTS.fullmatch(text):
        raise refused(f"{text!r} is not a fixed time", f"write one time, like {TIME_EXAMPLES}")
    return FixedTime(_checked_length(text))


def _plan_time(value: Any) -> PlanTimeValue:
    if isinstance(value, FixedTime | FlexibleTime | CountedTime):
        return value
    text = _as_text(value)
    counts = _COUNTS.fullmatch(text)
    if counts:
        return CountedTime(int(counts[1]), "rep" if counts[2] == "rep" else "count")
    ends = _RANGE.fullmatch(text)
    if ends is None:
        return FixedTime(_checked_length(text))
    shortest, longest = _checked_length(ends[1]), _checked_length(ends[2])
    if shortest > longest:
        raise refused(f"{text!r} runs backwards", f"write {ends[2]}..{ends[1]}")
    return FlexibleTime(shortest, longest)


def _working_time(value: Any) -> PlanTimeValue:
    time = _plan_time(value)
    match time:
        case FixedTime(length):
            empty = not length
        case FlexibleTime(shortest):
            empty = not shortest
        case CountedTime(counts):
            empty = counts == 0
    if empty:
        raise refused(f"{str(value)!r} leaves no time to work", "write more than 0 s, or remove the step")
    return time


def _point(value: Any) -> PointValue:
    if isinstance(value, FromStart | FromEnd | Share):
        return value
    text = _as_text(value)
    share = _PERCENT.fullmatch(text)
    if share:
        percent = Fraction(share[1])
        if percent > 100:
            raise refused(f"{text!r} is after the end", "write 0% to 100%")
        return Share(percent)
    if text.startswith(("-", "−")):
        return FromEnd(_checked_length(text[1:]))
    return FromStart(_checked_length(text))


# For editors only: the readers above decide, and know more than a pattern can say.
_UNIT = "(h|hours?|min|minutes?|s|sec|seconds?|ms)"
_NUMBER = r"\d+(\.\d+)?"
_LENGTH = rf"((\d+:)?\d+:\d\d(\.\d+)?|({_NUMBER}(/{_NUMBER})?\s*{_UNIT}\s*)+)"
_RANGE_OR_COUNTS = rf"{_LENGTH}\s*(\.\.|–|—)\s*{_LENGTH}|\d+\s*(count|rep)s?"


def _schema(description: str, pattern: str, *examples: str) -> WithJsonSchema:
    return WithJsonSchema(
        {
            "type": "string",
            "description": description,
            "pattern": rf"^\s*({pattern})\s*$",
            "examples": list(examples),
        }
    )


_TEXT = PlainSerializer(str, return_type=str)
_LONG = ("30s", "1:30", "2 min", "1 min 30 s")
_FLEXIBLE = ("20s..40s", "32 counts", "8 reps")

FixedTimeField = Annotated[
    FixedTime, PlainValidator(_fixed), _TEXT, _schema("A time of at most 24 h.", _LENGTH, *_LONG)
]
PlanTime = Annotated[
    PlanTimeValue,
    PlainValidator(_plan_time),
    _TEXT,
    _schema(
        "A time, a range of times, counts of the music, or reps of the move.",
        f"{_LENGTH}|{_RANGE_OR_COUNTS}",
        *_LONG,
        *_FLEXIBLE,
    ),
]
WorkingTime = Annotated[
    PlanTimeValue,
    PlainValidator(_working_time),
    _TEXT,
    _schema(
        "A time above zero, a range of times, counts of the music, or reps of the move.",
        f"{_LENGTH}|{_RANGE_OR_COUNTS}",
        *_LONG,
        *_FLEXIBLE,
    ),
]
Point = Annotated[
    PointValue,
    PlainValidator(_point),
    _TEXT,
    _schema(
        "After the start, before the end, or a share.",
        rf"[-−]?\s*{_LENGTH}|{_NUMBER}\s*%",
        "5s",
        "-8s",
        "50%",
    ),
]
