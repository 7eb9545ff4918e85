"""The programme's samples anywhere: the sum of its cues, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.take.expected import add
from tests.helpers.takes import programme


def test_any_stretch_is_the_same_as_of_the_whole() -> None:
    expected = programme(2)
    whole = np.zeros(expected.frames, np.float32)
    for cue in expected.cues:
        whole[cue.start_frame : cue.end_frame] += expected.sounds[cue.sound][
            : expected.frames - cue.start_frame
        ]
    assert whole.any()
    assert np.array_equal(expected.cue_samples(0, expected.frames), whole)
    for start, frames in ((-100, 50), (-100, 300), (33_333, 77_777), (expected.frames - 5, 10)):
        inside = np.zeros(frames, np.float32)
        add(inside, whole, -start)
        assert np.array_equal(expected.cue_samples(start, frames), inside)


def test_between_are_the_cues_that_sound_there() -> None:
    expected = programme(2)
    for start, end in ((0, 1), (40_000, 90_000), (0, expected.frames)):
        sounding = [one for one in expected.cues if one.start_frame < end and one.end_frame > start]
        assert list(expected.between(start, end)) == sounding


@pytest.mark.parametrize("at", [-3, 0, 2, 4, 9])
def test_add_keeps_inside(at: int) -> None:
    made = np.zeros(5, np.float32)
    add(made, np.array([1, 2, 3], np.float32), at, 2.0)
    assert made.tolist() == [{0: 2.0, 1: 4.0, 2: 6.0}.get(frame - at, 0.0) for frame in range(5)]


def test_a_frame_behind_the_end_belongs_to_the_last_phase() -> None:
    expected = programme(2)
    assert expected.phase_at(0) == expected.phases[0]
    assert expected.phase_at(expected.frames + 1) == expected.phases[-1]
