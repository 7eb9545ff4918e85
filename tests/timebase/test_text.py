"""Time as text, both ways."""

from __future__ import annotations

import re
from datetime import timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.errors import TimeError
from cuetrack.timebase import (
    Duration,
    Instant,
    clock_text,
    decimal_text,
    duration_text,
    parse_duration,
    seconds_text,
)

unhurried = settings(deadline=None, database=None)
lengths = st.fractions(min_value=0, max_value=10**6, max_denominator=10**6).map(Duration)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("30s", 30),
        ("30 s", 30),
        ("  30 s  ", 30),
        ("0s", 0),
        ("0.5s", Fraction(1, 2)),
        ("1:30", 90),
        ("0:07.25", Fraction("7.25")),
        ("90:00", 5400),
        ("1:00:00", 3600),
        ("1:02:03.5", Fraction("3723.5")),
        ("2 min", 120),
        ("1 min 30 s", 90),
        ("1min30s", 90),
        ("1 h 1 min 1 s 1 ms", Fraction("3661.001")),
        ("1 hour", 3600),
        ("2 hours 1 minute 1 second", 7261),
        ("5 sec", 5),
        ("250 ms", Fraction(1, 4)),
        ("72/8.5 s", Fraction(144, 17)),  # the shuttle run's first interval
        ("1/3 min", 20),
        ("0.000000001 s", Fraction(1, 10**9)),
    ],
)
def test_times_as_a_coach_writes_them(text: str, seconds: Fraction | int) -> None:
    assert parse_duration(text) == Duration(Fraction(seconds))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "'' is not a time"),
        ("5", "'5' is a time without a unit"),
        ("0.5", "'0.5' is a time without a unit"),
        ("-5s", "'-5s' is negative"),
        ("− 5 s", "'− 5 s' is negative"),
        ("1:60", "'1:60' is not a clock time"),
        ("1:60:00", "'1:60:00' is not a clock time"),
        ("1:5", "'1:5' is not a time"),
        ("30 s 1 min", "'30 s 1 min' is not a time"),
        ("30 s 5", "'30 s 5' is not a time"),
        ("1/0 s", "'1/0 s' divides by zero"),
        ("1/0.0 s", "'1/0.0 s' divides by zero"),
        ("1//2 s", "'1//2 s' is not a time"),
        ("1 fortnight", "'1 fortnight' is not a time"),
        ("1e3 s", "'1e3 s' is not a time"),
        ("1_0 s", "'1_0 s' is not a time"),
        ("٣ s", "'٣ s' is not a time"),  # a digit, but none that every reader of a plan knows
        ("inf s", "'inf s' is not a time"),
        ("9" * 19 + " s", f"'{'9' * 19} s' is not a time"),
    ],
)
def test_what_is_no_time_is_said(text: str, message: str) -> None:
    with pytest.raises(TimeError, match=f"^{re.escape(message)}$") as caught:
        parse_duration(text)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("text", "hint"),
    [("1:60", "seconds go from 00 to 59"), ("1:75:00", "minutes behind hours go from 00 to 59")],
)
def test_the_figure_of_a_clock_that_is_too_large_is_named(text: str, hint: str) -> None:
    with pytest.raises(TimeError) as caught:
        parse_duration(text)
    assert caught.value.hint == hint


@unhurried
@given(st.text() | st.text("0123456789.:/- hminsec", max_size=20))
def test_any_text_is_a_time_of_zero_or_more_or_a_time_error(text: str) -> None:
    try:
        length = parse_duration(text)
    except TimeError:
        return
    assert length.seconds >= 0


@unhurried
@given(lengths)
def test_written_and_read_again_is_the_same_length(length: Duration) -> None:
    assert parse_duration(duration_text(length)) == length


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        ("0", "0 s"),
        ("59", "59 s"),
        ("60", "1 min"),
        ("61", "1 min 1 s"),
        ("3600", "60 min"),
        ("90.5", "90.5 s"),
        ("1/3", "1/3 s"),
        ("-2.5", "-2.5 s"),
    ],
)
def test_lengths_as_plans_write_them(seconds: str, text: str) -> None:
    assert duration_text(Duration(Fraction(seconds))) == text


@unhurried
@given(st.decimals(-(10**9), 10**9, places=9))
def test_a_decimal_of_nine_places_is_written_in_full(value: object) -> None:
    exact = Fraction(str(value))
    text = decimal_text(exact)
    assert Fraction(text) == exact
    assert "/" not in text
    assert not text.endswith((".", "-"))


@unhurried
@given(st.fractions(min_value=0, max_value=10**5))
def test_asked_seconds_are_enough_and_not_a_tenth_too_many(seconds: Fraction) -> None:
    asked = Fraction(seconds_text(seconds).removesuffix(" s"))
    assert 0 <= asked - seconds < Fraction(1, 10)


@pytest.mark.parametrize(
    ("seconds", "decimals", "text"),
    [
        ("0", 0, "0:00"),
        ("59.999", 0, "0:59"),
        ("60", 0, "1:00"),
        ("3599.99", 1, "59:59.9"),
        ("3600", 0, "1:00:00"),
        ("86400", 3, "24:00:00.000"),
    ],
)
def test_clock_readings_are_cut_not_rounded(seconds: str, decimals: int, text: str) -> None:
    assert clock_text(Instant(Fraction(seconds)), decimals) == text


@unhurried
@given(st.integers(0, 10**6))
def test_clock_reading_agrees_with_the_standard_library(seconds: int) -> None:
    ours = clock_text(Instant(Fraction(seconds)))
    days, clock = divmod(seconds, 24 * 3600)
    hours, _, rest = str(timedelta(seconds=clock)).partition(":")
    total_hours = days * 24 + int(hours)
    assert ours == (f"{total_hours}:{rest}" if total_hours else rest.removeprefix("0"))
