"""The sounds of a programme at the detector's rate, in pieces so short that no clock drift blurs them.

At 200 parts per million a second of sound drifts by 0.2 ms, which a wave of 1 kHz bears.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log2

import numpy as np

from cuetrack.sound.resample import resampled
from cuetrack.take.expected import Expected
from cuetrack.take.samples import Samples

# Speech and all our tones lie below 4 kHz; a telephone's microphone passes no more.
DETECTOR_RATE_HZ = 8_000
PIECE_FRAMES = DETECTOR_RATE_HZ
# Shorter rests of a phrase tell little; and a piece far below the loudest of its sound tells nothing.
_SHORTEST_FRAMES = DETECTOR_RATE_HZ // 40
_LEAST_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of one sound: `samples` at the detector's rate, `offset_seconds` from where it begins.

    `detail` is its length times the width of its band: how many numbers it is told apart by.
    """

    sound: str
    offset_seconds: float
    samples: Samples
    detail: float


@dataclass(frozen=True, slots=True)
class PlacedPiece:
    """A piece where the programme has it: the cue's number, and seconds from the programme's start."""

    piece: Piece
    cue: int
    seconds: float


def pieces_of(expected: Expected) -> dict[str, tuple[Piece, ...]]:
    """The pieces of every sound of a programme, by its key."""
    return {key: tuple(_pieces(key, samples, expected.rate_hz)) for key, samples in expected.sounds.items()}


def placed_pieces(expected: Expected, pieces: dict[str, tuple[Piece, ...]]) -> tuple[PlacedPiece, ...]:
    """Every piece of every cue, in the order of their starts."""
    placed = [
        PlacedPiece(piece, number, cue.start_frame / expected.rate_hz + piece.offset_seconds)
        for number, cue in enumerate(expected.cues)
        for piece in pieces.get(cue.sound, ())
    ]
    return tuple(sorted(placed, key=lambda one: one.seconds))


def _pieces(key: str, samples: Samples, rate_hz: int) -> Iterator[Piece]:
    low = resampled(samples, rate_hz, DETECTOR_RATE_HZ)
    starts = range(0, len(low), PIECE_FRAMES)
    found = [(start, low[start : start + PIECE_FRAMES]) for start in starts]
    most = max((float(np.dot(cut, cut)) for _, cut in found), default=0.0)
    for start, cut in found:
        energy = float(np.dot(cut, cut))
        if len(cut) >= _SHORTEST_FRAMES and energy > _LEAST_SHARE * most:
            yield Piece(key, start / DETECTOR_RATE_HZ, cut, _detail(cut))


def _detail(samples: Samples) -> float:
    """Time times bandwidth, the width being that of a flat spectrum as peaked as this one."""
    power = np.abs(np.fft.rfft(samples, 2 * PIECE_FRAMES)) ** 2
    bins = power.sum() ** 2 / (power**2).sum()
    return float(bins / 2 * len(samples) / PIECE_FRAMES)


def telling_pieces(placed: tuple[PlacedPiece, ...], every_seconds: float) -> tuple[Piece, ...]:
    """The pieces to look for first: in each stretch of the programme the one that tells most.

    What occurs often tells less about where it is.
    """
    times: dict[int, int] = {}
    for one in placed:
        times[id(one.piece)] = times.get(id(one.piece), 0) + 1
    best: dict[int, tuple[float, Piece]] = {}
    for one in placed:
        stretch = int(one.seconds / every_seconds)
        value = log2(1 + one.piece.detail) / times[id(one.piece)]
        if value > best.get(stretch, (0.0, None))[0]:
            best[stretch] = (value, one.piece)
    return tuple({id(piece): piece for _, piece in best.values()}.values())
