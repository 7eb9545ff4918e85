"""Instants and durations: exact, two types, rounded once."""

from __future__ import annotations

from fractions import Fraction
from operator import add, sub

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.timebase import Duration, Instant, frame_seconds

unhurried = settings(deadline=None, database=None)
seconds = st.fractions(min_value=-100_000, max_value=100_000, max_denominator=10**9)
rates_hz = st.sampled_from([22_050, 44_100, 48_000])


def test_step_test_beats_stand_at_positions_not_at_sums_of_rounded_beats() -> None:
    """YMCA step test: 96 bpm for 3 min, 288 beats of 0.625 s; 27,562.5 frames at 44.1 kHz (calculated)."""
    beat = Fraction(60, 96)
    assert beat * 44_100 == Fraction("27562.5")
    frames = [Instant(beat * number).to_frame(44_100) for number in range(289)]
    assert frames[:4] == [0, 27_563, 55_125, 82_688]
    assert frames[288] == 180 * 44_100
    assert 288 * 27_563 - frames[288] == 144  # what rounding each length would have cost: 3 ms


def test_beats_at_128_bpm_are_never_out_by_more_than_half_a_frame() -> None:
    """20,671.875 frames a beat at 44.1 kHz (calculated); rounded lengths are 8 frames out by the 64th."""
    beat_frames = Fraction(60 * 44_100, 128)
    assert beat_frames == Fraction("20671.875")
    frames = [Instant(Fraction(60 * number, 128)).to_frame(44_100) for number in range(65)]
    assert all(abs(frame - beat_frames * number) <= Fraction(1, 2) for number, frame in enumerate(frames))
    assert frames[64] == 1_323_000
    assert 64 * 20_672 - frames[64] == 8


@pytest.mark.parametrize(
    ("stage", "interval"), [(1, "8.4706"), (2, "8.0000"), (3, "7.5789"), (4, "7.2000"), (5, "6.8571")]
)
def test_shuttle_run_intervals(stage: int, interval: str) -> None:
    """Léger 20 m shuttle: 72/speed s with speed 8 + 0.5·stage km/h, as printed to four places."""
    exact = Fraction(72) / (8 + Fraction(stage, 2))
    assert abs(exact - Fraction(interval)) <= Fraction(1, 20_000)
    assert frame_seconds(Instant(exact).to_frame(48_000), 48_000) - exact <= Fraction(1, 96_000)


@pytest.mark.parametrize(
    ("position", "frame"),
    [
        ("0", 0),
        ("0.5", 1),
        ("1.5", 2),
        ("2.5", 3),
        ("0.4999999999", 0),
        ("-0.5", 0),
        ("-0.6", -1),
        ("-1.5", -1),
    ],
)
def test_exact_half_goes_to_the_later_frame(position: str, frame: int) -> None:
    assert Instant(Fraction(position)).to_frame(1) == frame


@unhurried
@given(seconds, rates_hz)
def test_rounding_is_out_by_at_most_half_a_frame(position: Fraction, rate_hz: int) -> None:
    error = frame_seconds(Instant(position).to_frame(rate_hz), rate_hz) - position
    assert -Fraction(1, 2) < error * rate_hz <= Fraction(1, 2)


@unhurried
@given(st.integers(-(10**10), 10**10), rates_hz)
def test_frame_to_seconds_and_back(frame: int, rate_hz: int) -> None:
    assert Instant(frame_seconds(frame, rate_hz)).to_frame(rate_hz) == frame


@unhurried
@given(seconds, seconds, rates_hz)
def test_later_is_never_an_earlier_frame(one: Fraction, other: Fraction, rate_hz: int) -> None:
    early, late = sorted((Instant(one), Instant(other)))
    assert early.to_frame(rate_hz) <= late.to_frame(rate_hz)


@unhurried
@given(seconds, seconds)
def test_arithmetic_of_points_and_lengths(one: Fraction, other: Fraction) -> None:
    point, length = Instant(one), Duration(other)
    assert (point + length) - length == point
    assert (point + length) - point == length
    assert length + -length == Duration(Fraction(0))
    assert (length - length * 3).seconds == -2 * other
    assert bool(length) is (other != 0)


@pytest.mark.parametrize(
    ("operation", "left", "right"),
    [
        (add, Instant(Fraction(1)), Instant(Fraction(1))),
        (add, Duration(Fraction(1)), Instant(Fraction(1))),
        (sub, Duration(Fraction(1)), Instant(Fraction(1))),
        (add, Instant(Fraction(1)), 1),
        (sub, Instant(Fraction(1)), 1),
        (add, Duration(Fraction(1)), Fraction(1)),
        (sub, Duration(Fraction(1)), 1.0),
    ],
)
def test_points_do_not_add_and_bare_numbers_are_no_times(
    operation: object, left: object, right: object
) -> None:
    with pytest.raises(TypeError):
        operation(left, right)  # type: ignore[operator]


def test_points_and_lengths_are_not_compared_with_each_other() -> None:
    assert Instant(Fraction(1)) != Duration(Fraction(1))
    with pytest.raises(TypeError):
        _ = Instant(Fraction(1)) < Duration(Fraction(2))  # type: ignore[operator]
