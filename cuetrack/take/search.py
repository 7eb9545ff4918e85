"""A recording and some pieces of a programme → where each piece may be heard.

Every piece is correlated with the whole recording, block by block. Both are first made as flat in their
spectra as their own sound allows (the filter that finds a known signal in coloured noise: Turin, "An
introduction to matched filters", 1960), so that bass and held notes do not drown the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.cores import usable_cores
from cuetrack.take.pieces import DETECTOR_RATE_HZ, PIECE_FRAMES, Piece
from cuetrack.take.samples import SampleFile

_BLOCK_FRAMES = 1 << 15
_HOP_FRAMES = _BLOCK_FRAMES - PIECE_FRAMES
_SMOOTHING_HZ = 60.0
# Of the root mean square of a block. In noise the largest of ten million values is 5.3 times that: what is
# sighted by chance fits no other, and a chain leaves it out.
_LEAST_SCORE = 5.0
_MOST_BESIDE = 12
_MOST_AT_ONCE = 4


@dataclass(frozen=True, slots=True)
class Sighting:
    """A piece that may begin at `seconds` of the recording; the higher the score, the surer."""

    piece: Piece
    seconds: float
    score: float


def sightings(recording: SampleFile, pieces: Sequence[Piece], most_each: Sequence[int]) -> list[Sighting]:
    """Where the pieces may be heard.

    Args:
        recording: at the detector's rate.
        pieces: what to look for.
        most_each: how often each piece occurs in the programme; a few more are kept.

    Returns:
        In no order.
    """
    from scipy import fft

    if not pieces:
        return []
    templates = np.zeros((len(pieces), _BLOCK_FRAMES), np.float32)
    for row, piece in zip(templates, pieces, strict=True):
        row[: len(piece.samples)] = piece.samples / np.sqrt(np.dot(piece.samples, piece.samples))
    spectra = np.conj(fft.rfft(templates, axis=1)).astype(np.complex64)
    starts = range(0, max(1, recording.frames), _HOP_FRAMES)
    peaks: list[tuple[NDArray[np.float32], NDArray[np.intp]]] = []
    # Arrays are worked on beside each other; read is as many blocks as are worked on, hours would not fit.
    with ThreadPoolExecutor(min(_MOST_AT_ONCE, usable_cores())) as pool:
        for first in range(0, len(starts), _MOST_AT_ONCE):
            blocks = [recording.read(start, _BLOCK_FRAMES) for start in starts[first : first + _MOST_AT_ONCE]]
            peaks += pool.map(lambda block: _peaks(spectra, block), blocks)
    scores = np.stack([score for score, _ in peaks], axis=1)
    seconds = np.stack(
        [
            places / DETECTOR_RATE_HZ + start / DETECTOR_RATE_HZ
            for start, (_, places) in zip(starts, peaks, strict=True)
        ],
        axis=1,
    )
    made: list[Sighting] = []
    for piece, most, score, at in zip(pieces, most_each, scores, seconds, strict=True):
        best = np.argsort(score)[::-1][: most + _MOST_BESIDE]
        made += [
            Sighting(piece, float(at[index]), float(score[index]))
            for index in best
            if score[index] > _LEAST_SCORE
        ]
    return made


def _peaks(
    spectra: NDArray[np.complex64], block: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.intp]]:
    """For each piece, by its spectrum, its strongest place in a block: how strong there, and the frame."""
    from scipy import fft

    heard = fft.rfft(block)
    flat = (heard / whitening(heard, DETECTOR_RATE_HZ / _BLOCK_FRAMES)).astype(np.complex64)
    found = fft.irfft(spectra * flat, axis=1, overwrite_x=True)[:, :_HOP_FRAMES]
    level = np.sqrt(np.einsum("ij,ij->i", found, found) / _HOP_FRAMES) + np.float32(1e-30)
    rows, highest, lowest = np.arange(len(found)), found.argmax(axis=1), found.argmin(axis=1)
    places = np.where(found[rows, highest] >= -found[rows, lowest], highest, lowest)
    return np.abs(found[rows, places]) / level, places


def whitening(spectrum: NDArray[np.complexfloating], bin_hz: float) -> NDArray[np.float32]:
    """The power of a spectrum, smoothed over some bins; never zero."""
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float64)
    reach = max(1, round(_SMOOTHING_HZ / bin_hz / 2))
    summed = np.concatenate([[0.0], np.cumsum(np.pad(power, reach, mode="edge"))])
    smooth = (summed[2 * reach + 1 :] - summed[: -2 * reach - 1]) / (2 * reach + 1)
    floor = 1e-6 * float(smooth.mean()) + 1e-20
    smoothed: NDArray[np.float32] = (smooth + floor).astype(np.float32)
    return smoothed
