"""Rooms made by hand: when the direct sound arrives, whatever comes after it."""

from __future__ import annotations

import numpy as np
import pytest
import soxr
from scipy.signal import fftconvolve

from cuetrack.take.echo import Echo, EchoSum, direct_sound, shift_between, windows
from cuetrack.take.line import Line
from cuetrack.take.pieces import DETECTOR_RATE_HZ, Piece, PlacedPiece
from cuetrack.take.samples import SampleFile

LATE = 0.0123456  # of the direct sound; no whole number of frames
SECONDS = (1.0, 4.0, 7.5, 11.25)


def answered(echoes: dict[float, float], noise: float = 0.0) -> Echo:
    """The response found for four pieces of noise in a room with these echoes: seconds later, strength."""
    chance = np.random.default_rng(4)
    dry = np.zeros(16 * DETECTOR_RATE_HZ, np.float32)
    placed = []
    for number, at in enumerate(SECONDS):
        sound = chance.standard_normal(DETECTOR_RATE_HZ // 2).astype(np.float32)
        first = round(at * DETECTOR_RATE_HZ)
        dry[first : first + len(sound)] += sound
        placed.append(PlacedPiece(Piece(str(number), 0.0, sound, 1.0), number, at))
    fine_hz = 10 * DETECTOR_RATE_HZ
    answer = np.zeros(fine_hz // 2)
    for late, strength in {0.0: 1.0, **echoes}.items():
        answer[round((LATE + late) * fine_hz)] += strength
    wet = fftconvolve(soxr.resample(dry, DETECTOR_RATE_HZ, fine_hz), answer)[: len(dry) * 10]
    heard = soxr.resample(wet, fine_hz, DETECTOR_RATE_HZ).astype(np.float32)
    heard += noise * chance.standard_normal(len(heard)).astype(np.float32)
    summed = EchoSum()
    with SampleFile(DETECTOR_RATE_HZ) as recording:
        recording.append(heard)
        summed.add(windows(recording, placed, Line(0.0, 0.0)))
    return summed.echo()


@pytest.mark.parametrize(
    "echoes",
    [
        {},
        {0.0021: 0.7, 0.0093: -0.5},
        {0.0165: 1.3, 0.031: 1.1},  # louder than the direct sound
        {0.0004: 0.9, 0.022: 1.5},
    ],
)
@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_the_direct_sound_is_found_before_its_echoes(echoes: dict[float, float], noise: float) -> None:
    seconds, clear = direct_sound(answered(echoes, noise))
    assert seconds == pytest.approx(LATE, abs=0.0002)
    assert clear > 5


def test_a_shift_between_two_answers_is_found_between_frames() -> None:
    echoes = {0.0021: 0.7, 0.0093: -0.5, 0.02: 0.4}
    one = answered(echoes)
    spectrum = np.fft.rfft(one.response)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(len(one.response)) * 2.5)  # two frames and a half later
    other = Echo(np.fft.irfft(spectrum * turn).astype(np.float32), one.perfect)
    shift, alike = shift_between(other, one)
    assert shift == pytest.approx(2.5 / DETECTOR_RATE_HZ, abs=0.1 / DETECTOR_RATE_HZ)
    assert alike > 0.9


def test_silence_has_no_answer() -> None:
    summed = EchoSum()
    assert not summed.echo().response.any()
