"""Stretches one after the other: their samples as they are, their edges without a click."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.conform.stretches import Stretch
from cuetrack.mix.excerpt import excerpt, excerpt_starts

RATE_HZ = 8_000
FADE_FRAMES = 160  # 20 ms
FRAMES = 3 * RATE_HZ


@pytest.mark.parametrize("start_frame", [0, 1, 40, FADE_FRAMES - 1, FADE_FRAMES, RATE_HZ])
def test_no_edge_clicks_wherever_a_stretch_begins(start_frame: int) -> None:
    """Of a steady sound: nothing jumps, also where the programme begins less than a fade before."""
    steady = np.ones((FRAMES, 2), np.float32)
    stretch = Stretch(start_frame, 2 * RATE_HZ)
    made = np.concatenate([*excerpt([steady], [stretch], rate_hz=RATE_HZ, frames=FRAMES, width=2)])
    starts, frames = excerpt_starts([stretch], RATE_HZ, FRAMES)
    assert made.shape == (frames, 2)
    assert np.array_equal(made[starts[0] : starts[0] + stretch.frames], steady[: stretch.frames])
    assert np.abs(np.diff(made, axis=0)).max() <= 1.001 / FADE_FRAMES
