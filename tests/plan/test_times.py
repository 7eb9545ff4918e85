"""Times of a plan: fixed, flexible, counted; and points in a stretch of time."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from cuetrack.plan.times import (
    CountedTime,
    FixedTime,
    FixedTimeField,
    FlexibleTime,
    FromEnd,
    FromStart,
    PlanTime,
    Point,
    Share,
    WorkingTime,
)
from cuetrack.timebase import Duration
from tests.plan.test_round_trip import times

unhurried = settings(deadline=None, database=None)


def seconds(number: int | str) -> Duration:
    return Duration(Fraction(number))


def read(kind: Any, text: object) -> Any:
    return TypeAdapter(kind).validate_python(text)


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("30s", FixedTime(seconds(30))),
        ("24 h", FixedTime(seconds(86_400))),
        ("0s", FixedTime(seconds(0))),
        ("20s..40s", FlexibleTime(seconds(20), seconds(40))),
        ("20s .. 1:30", FlexibleTime(seconds(20), seconds(90))),
        ("20s–40s", FlexibleTime(seconds(20), seconds(40))),
        ("20s — 40s", FlexibleTime(seconds(20), seconds(40))),
        ("20s..20s", FlexibleTime(seconds(20), seconds(20))),
        ("32 counts", CountedTime(32)),
        ("1 count", CountedTime(1)),
        ("8counts", CountedTime(8)),
        ("8 reps", CountedTime(8, "rep")),
        ("1 rep", CountedTime(1, "rep")),
    ],
)
def test_times_of_a_plan(text: str, time: object) -> None:
    assert read(PlanTime, text) == time


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [
        (PlanTime, "40s..20s", "'40s..20s' runs backwards"),
        (PlanTime, "20..40s", "'20' is a time without a unit"),
        (PlanTime, "20s..", "'20s..' is not a time"),
        (PlanTime, "..20s", "'..20s' is not a time"),
        (PlanTime, "24 h 1 ms", "'24 h 1 ms' is longer than 24 h"),
        (PlanTime, "999999 counts", "'999999 counts' is not a time"),
        (PlanTime, "-3 counts", "'-3 counts' is negative"),
        (PlanTime, None, "'None' is not a time"),
        (PlanTime, ["5s"], "a list is not a time"),
        (PlanTime, 5, "'5' is a time without a unit"),
        (FixedTimeField, "20s..40s", "'20s..40s' is not a fixed time"),
        (FixedTimeField, "8 counts", "'8 counts' is not a fixed time"),
        (WorkingTime, "0 s", "'0 s' leaves no time to work"),
        (WorkingTime, "0s..5s", "'0s..5s' leaves no time to work"),
        (WorkingTime, "0 counts", "'0 counts' leaves no time to work"),
        (WorkingTime, "0 reps", "'0 reps' leaves no time to work"),
        (Point, "101%", "'101%' is after the end"),
        (Point, "-25 h", "'25 h' is longer than 24 h"),
        (Point, "--5s", "'-5s' is negative"),
        (Point, "5", "'5' is a time without a unit"),
    ],
)
def test_what_is_no_time_of_a_plan(kind: Any, text: object, message: str) -> None:
    with pytest.raises(ValidationError) as caught:
        read(kind, text)
    (detail,) = caught.value.errors()
    assert detail["msg"] == message
    assert detail["ctx"]["hint"]


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("5s", FromStart(seconds(5))),
        ("0s", FromStart(seconds(0))),
        ("-8s", FromEnd(seconds(8))),
        ("−1:30", FromEnd(seconds(90))),
        ("-0s", FromEnd(seconds(0))),
        ("50%", Share(Fraction(50))),
        ("33.3 %", Share(Fraction("33.3"))),
        ("100%", Share(Fraction(100))),
    ],
)
def test_points(text: str, point: object) -> None:
    assert read(Point, text) == point


@pytest.mark.parametrize(
    ("text", "middle"), [("20s..40s", 30), ("20s..41s", 31), ("1s..2s", 2), ("0s..1s", 1), ("1/3 s..1 s", 1)]
)
def test_a_range_takes_its_midpoint_to_the_whole_second_a_half_goes_up(text: str, middle: int) -> None:
    assert read(PlanTime, text).middle() == seconds(middle)


@unhurried
@given(times())
def test_written_and_read_again_is_the_same_time(text: str) -> None:
    time = read(PlanTime, text)
    assert read(PlanTime, str(time)) == time
    assert TypeAdapter(PlanTime).dump_python(time, mode="json") == str(time)


@unhurried
@given(st.text() | st.text("0123456789.:/-–% hminsecount", max_size=25))
def test_any_text_is_a_time_or_refused(text: str) -> None:
    for kind in (PlanTime, WorkingTime, FixedTimeField, Point):
        try:
            value = read(kind, text)
        except ValidationError as error:
            message = error.errors()[0]["msg"]
        else:
            message = ""
            assert read(kind, str(value)) == value
        assert len(message) < 200


def test_a_time_that_a_program_gives_is_taken() -> None:
    for kind, time in (
        (FixedTimeField, FixedTime(seconds(5))),
        (PlanTime, CountedTime(8)),
        (WorkingTime, FlexibleTime(seconds(1), seconds(2))),
        (Point, Share(Fraction(50))),
    ):
        assert read(kind, time) is time


def test_a_very_long_text_is_refused_at_once() -> None:
    """Blanks in the middle once made the search for a range take minutes."""
    with pytest.raises(ValidationError, match="is not a time"):
        read(PlanTime, f"1{' ' * 200_000}s")
