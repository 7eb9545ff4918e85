"""Lines from one clock to the other, and fits that bear wrong points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import siegelslopes

from cuetrack.take.line import Line, first_line, robust_fit

LINE = Line(12.5, 100.0, 80.0)


@pytest.mark.parametrize("at", [0.0, 12.5, 1800.0])
def test_both_ways_are_each_others_inverse(at: float) -> None:
    assert LINE.recording_at(LINE.programme_at(at)) == pytest.approx(at, abs=1e-9)


def test_programme_time_is_what_the_contract_says() -> None:
    """programme_start_seconds + (recording time - recording_start_seconds) * (1 + rate_ppm / 10**6)."""
    assert LINE.programme_at(1812.5) == pytest.approx(100 + 1800 * (1 + 80 / 1e6), abs=1e-12)


def test_a_line_through_another_of_its_points_is_the_same() -> None:
    other = LINE.through(700.0)
    assert other.programme_seconds == 700.0
    assert other.recording_at(50.0) == pytest.approx(LINE.recording_at(50.0), abs=1e-9)


def test_what_is_later_is_heard_later() -> None:
    assert LINE.later_by(0.25).recording_at(500.0) == pytest.approx(LINE.recording_at(500.0) + 0.25)


def test_a_correction_moves_each_point_as_it_says() -> None:
    at = np.array([100.0, 400.0, 1000.0])
    corrected = LINE.corrected(at, 0.002, 5e-6)
    for seconds in at:
        wanted = LINE.recording_at(seconds) + 0.002 + 5e-6 * (seconds - at.mean())
        assert corrected.recording_at(seconds) == pytest.approx(wanted, abs=1e-9)


def test_the_first_line_bears_wrong_pairs() -> None:
    """Held against SciPy's repeated medians, another way to bear them."""
    chance = np.random.default_rng(3)
    recording = np.sort(chance.uniform(0, 1500, 40))
    programme = 30 + recording * (1 + 120e-6) + chance.normal(0, 0.0005, 40)
    programme[::7] += chance.uniform(-0.08, 0.08, len(programme[::7]))
    line = first_line(recording, programme, 300e-6)
    slope = siegelslopes(programme - recording, recording)[0]
    assert line.rate_ppm == pytest.approx(slope * 1e6, abs=3)
    assert line.rate_ppm == pytest.approx(120, abs=3)
    assert line.programme_at(700.0) == pytest.approx(30 + 700 * (1 + 120e-6), abs=0.002)


def test_pairs_close_together_say_nothing_of_the_rate() -> None:
    assert first_line(np.array([10.0, 20.0]), np.array([5.0, 15.004]), 300e-6).rate_ppm == 0


def test_a_rate_that_no_clock_has_is_not_taken() -> None:
    recording = np.linspace(0, 1000, 20)
    assert first_line(recording, recording * 1.01, 300e-6).rate_ppm == pytest.approx(300)


def test_a_fit_leaves_outliers_out() -> None:
    at = np.linspace(0, 1200, 60)
    late = 0.001 + 4e-6 * (at - at.mean())
    spoiled = late.copy()
    spoiled[[3, 20, 41]] += [0.05, -0.03, 0.1]
    by, slope = robust_fit(at, spoiled, np.ones(60))
    assert by == pytest.approx(0.001, abs=2e-5)
    assert slope == pytest.approx(4e-6, abs=1e-7)


def test_a_fit_of_two_points_has_no_slope() -> None:
    at = np.array([0.0, 30.0])
    by, slope = robust_fit(at, np.full(2, -0.002), np.ones(2))
    assert (by, slope) == (pytest.approx(-0.002), 0.0)
