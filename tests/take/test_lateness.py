"""Where a clean file repeats itself, cues keep their order, and the nearest explanation is taken."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.sound.tones import tone_samples
from cuetrack.take.expected import Expected, ExpectedCue, ExpectedPhase
from cuetrack.take.lateness import voted_lateness
from cuetrack.take.pieces import DETECTOR_RATE_HZ, pieces_of
from cuetrack.take.samples import SampleFile

NAMES = ("count-short", "count-short", "count-long", "call-soft")


def steady(rounds: int) -> Expected:
    """Every 10 s the same four tones."""
    rate = DETECTOR_RATE_HZ
    sounds = {name: tone_samples(name, rate) for name in NAMES}
    places = [
        (10 * number + second, name)
        for number in range(rounds)
        for second, name in zip((2, 3, 4, 7), NAMES, strict=True)
    ]
    cues = tuple(
        ExpectedCue("tone", None, name, at * rate, at * rate, len(sounds[name]), 0, 1, name)
        for at, name in places
    )
    frames = 10 * rounds * rate
    phase = ExpectedPhase(0, "work", None, None, "Row", None, None, 0, frames)
    return Expected("Quay", rate, frames, cues, (phase,), sounds, False)


def lates(expected: Expected, heard: np.ndarray) -> list[float]:
    with SampleFile(DETECTOR_RATE_HZ) as file:
        file.append(heard.astype(np.float32))
        found = voted_lateness(expected.cues, expected.rate_hz, pieces_of(expected), file)
    assert found is not None
    return [found(cue) / expected.rate_hz for cue in expected.cues]


@pytest.mark.parametrize("seconds", [0, 1.5, 5, -3])
def test_all_of_a_steady_session(seconds: float) -> None:
    expected = steady(6)
    shift = round(seconds * expected.rate_hz)
    whole = expected.cue_samples(0, expected.frames)
    heard = np.concatenate([np.zeros(max(0, shift)), whole[max(0, -shift) :]])
    assert lates(expected, heard) == pytest.approx([seconds] * 24, abs=0.021)


def test_a_cut_in_a_steady_session() -> None:
    expected = steady(6)
    rate = expected.rate_hz
    heard = np.delete(expected.cue_samples(0, expected.frames), slice(30 * rate, 31 * rate))
    assert lates(expected, heard) == pytest.approx([0] * 12 + [-1] * 12, abs=0.021)


def test_nothing_is_heard_in_silence() -> None:
    with SampleFile(DETECTOR_RATE_HZ) as file:
        file.append(np.zeros(80_000, np.float32))
        expected = steady(2)
        assert voted_lateness(expected.cues, expected.rate_hz, pieces_of(expected), file) is None
