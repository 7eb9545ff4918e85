"""Decibels and amplitudes."""

from __future__ import annotations

from math import inf, isclose

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.sound.units import db_to_linear, linear_to_db


@pytest.mark.parametrize(
    ("level_db", "amplitude"),
    [
        (0.0, 1.0),
        (-20.0, 0.1),
        (40.0, 100.0),
        (-6.0, 0.501187),  # 10^(-6/20), by hand
        (-96.33, 2**-16),  # the range of 16 bits
    ],
)
def test_levels_and_amplitudes_match_known_pairs(level_db: float, amplitude: float) -> None:
    assert db_to_linear(level_db) == pytest.approx(amplitude, rel=1e-4)
    assert linear_to_db(amplitude) == pytest.approx(level_db, abs=1e-2)


def test_silence_is_minus_infinity_both_ways() -> None:
    assert linear_to_db(0.0) == -inf
    assert db_to_linear(-inf) == 0.0


def test_a_negative_amplitude_has_no_level() -> None:
    with pytest.raises(ValueError, match=r"math domain|positive"):
        linear_to_db(-0.5)


@settings(deadline=None, database=None)
@given(st.floats(-300, 300))
def test_there_and_back_is_the_same_level(level_db: float) -> None:
    assert isclose(linear_to_db(db_to_linear(level_db)), level_db, abs_tol=1e-9)
