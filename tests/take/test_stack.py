"""Slants in scores: found in noise, with echoes stronger than what comes first."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.take.stack import best_slant

RATE_HZ, LAGS = 8_000, 8_192


def scores(slope: float, late: float, echoes: dict[float, float], seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Rows of noise with a few peaks each, of which each row has its own strongest."""
    chance = np.random.default_rng(seed)
    at = np.sort(chance.uniform(0, 1200, 120))
    rows = np.abs(chance.standard_normal((len(at), LAGS)))
    for row, seconds in zip(rows, at - at.mean(), strict=True):
        for echo, height in echoes.items():
            frame = round(LAGS / 2 + (late + slope * seconds + echo) * RATE_HZ)
            row[frame] += height * chance.uniform(0.2, 1.8)
    return at, rows.astype(np.float32)


@pytest.mark.parametrize("slope", [-250e-6, -3e-6, 0.0, 77e-6])
@pytest.mark.parametrize("echoes", [{0.0: 8.0}, {0.0: 4.0, 0.0165: 5.0, 0.07: 4.5}])
def test_the_slope_is_found(slope: float, echoes: dict[float, float]) -> None:
    at, rows = scores(slope, 0.02, echoes, seed=8)
    found = best_slant(at, rows, RATE_HZ, 300e-6)
    assert found.slope == pytest.approx(slope, abs=0.5e-6)
    assert min(abs(found.late_seconds - 0.02 - echo) for echo in echoes) < 0.0005


def test_pieces_at_one_time_have_no_slope() -> None:
    rows = np.ones((3, LAGS), np.float32)
    rows[:, LAGS // 2 + 40] = 9
    found = best_slant(np.array([5.0, 5.1, 5.2]), rows, RATE_HZ, 300e-6)
    assert found.slope == 0
    assert found.late_seconds == pytest.approx(40 / RATE_HZ, abs=2 / RATE_HZ)
