"""How a room answers: all pieces of a stretch together → its impulse response, and the direct sound in it.

The response is the cross-spectrum of programme and recording over the spectrum of the programme, both
summed over many pieces (the H1 estimator: Bendat and Piersol, "Random Data", chapter 6), so noise that
does not follow the programme averages out. The direct sound is its first strong peak: echoes come later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.cores import usable_cores
from cuetrack.take.line import Line
from cuetrack.take.pieces import DETECTOR_RATE_HZ, PlacedPiece
from cuetrack.take.samples import SampleFile
from cuetrack.take.search import whitening

WINDOW_FRAMES = 1 << 14
# What of a window lies before the place where a piece is expected.
LEAD_FRAMES = 1 << 12
_EARLIEST_FRAMES, _LATEST_FRAMES = -1024, 1024
_OVERSAMPLING = 16
# Of the mean; where the programme has less power than this the room's answer is not to be known.
_LEAST_POWER = 0.03
# An echo may be stronger than the direct sound, even one of 80 ms later where walls throw it to and fro. The
# first peak that has this share of the strongest, is no side lobe of it, and stands out of the noise is the
# direct sound.
_SHARE, _OVER_SIDE_LOBE, _OVER_NOISE = 0.25, 1.25, 6.0
# Of the response's beginning: nothing has arrived there yet.
_QUIET_FRAMES = 320


@dataclass(frozen=True, slots=True)
class Windows:
    """Pieces and the recording around each place where it is expected, as spectra a row each.

    `late_frames` is what each place lies behind the frame on which its window's lead ends.
    """

    heard: NDArray[np.complex64]
    played: NDArray[np.complex64]
    late_frames: NDArray[np.float64]

    def across(self) -> NDArray[np.complex128]:
        """For each row the cross-spectrum, turned by what its place lies behind a whole frame."""
        return np.asarray(self.heard * np.conj(self.played) * _turns(self.late_frames, self.heard.shape[1]))

    def chance_levels(self) -> NDArray[np.float64]:
        """For each row the root mean square of its correlation if it had nothing to do with the piece.

        What is heard has the power 1 in every bin, so this is what the piece's own power comes to. A row
        of silence has no level; infinity stands for it.
        """
        power = (np.abs(self.played) ** 2).sum(axis=1, dtype=np.float64)
        levels: NDArray[np.float64] = np.sqrt(2 * power) / WINDOW_FRAMES
        return np.where(levels > 0, levels, np.inf)


def _turns(late_frames: NDArray[np.float64], bins: int) -> NDArray[np.complex128]:
    """What turns the first `bins` of a spectrum by a delay, a row for each.

    The turn of a bin is that of the bin at its block's start times that of its place in the block, which
    spares nearly all exponentials.
    """
    block = 128
    starts = np.exp(2j * np.pi / WINDOW_FRAMES * np.outer(late_frames, np.arange(0, bins, block)))
    places = np.exp(2j * np.pi / WINDOW_FRAMES * np.outer(late_frames, np.arange(block)))
    turns = starts[:, :, np.newaxis] * places[:, np.newaxis, :]
    return np.asarray(turns.reshape(len(late_frames), -1)[:, :bins])


def windows(recording: SampleFile, placed: Sequence[PlacedPiece], line: Line) -> Windows:
    """The spectra for pieces that lie on a line; what is heard is made flat by its own power."""
    from scipy import fft

    heard = np.zeros((len(placed), WINDOW_FRAMES), np.float32)
    played = np.zeros_like(heard)
    late = np.zeros(len(placed))
    for row, one in enumerate(placed):
        at = line.recording_at(one.seconds) * DETECTOR_RATE_HZ
        first = int(np.floor(at))
        heard[row] = recording.read(first - LEAD_FRAMES, WINDOW_FRAMES)
        played[row, : len(one.piece.samples)] = one.piece.samples
        late[row] = at - first
    spectra = fft.rfft(heard, axis=1, workers=usable_cores())
    own = fft.rfft(played, axis=1, workers=usable_cores())
    for spectrum, piece in zip(spectra, own, strict=True):
        power = whitening(spectrum, DETECTOR_RATE_HZ / WINDOW_FRAMES)
        spectrum /= np.sqrt(power)
        piece /= np.sqrt(power)
    return Windows(spectra, own, late)


@dataclass(frozen=True, slots=True)
class Echo:
    """An impulse response from `_EARLIEST_FRAMES` to `_LATEST_FRAMES`, and that of a perfect room."""

    response: NDArray[np.float32]
    perfect: NDArray[np.float32]


class EchoSum:
    """Windows added up to one response."""

    def __init__(self) -> None:
        bins = WINDOW_FRAMES // 2 + 1
        self._across = np.zeros(bins, np.complex128)
        self._power = np.zeros(bins)

    def add(self, found: Windows) -> None:
        """Adds windows."""
        self._across += found.across().sum(axis=0)
        self._power += (np.abs(found.played) ** 2).sum(axis=0)

    def merge(self, other: EchoSum) -> None:
        """Adds all that another sum holds."""
        self._across += other._across
        self._power += other._power

    def echo(self) -> Echo:
        """The response; zeros if nothing was added."""
        held = self._power + _LEAST_POWER * float(self._power.mean()) + 1e-30
        response = np.fft.irfft(self._across / held)
        perfect = np.roll(np.fft.irfft(self._power / held), LEAD_FRAMES)
        span = slice(LEAD_FRAMES + _EARLIEST_FRAMES, LEAD_FRAMES + _LATEST_FRAMES)
        return Echo(response[span].astype(np.float32), perfect[span].astype(np.float32))


def shift_between(one: Echo, other: Echo) -> tuple[float, float]:
    """How many seconds `one` is later than `other`, within 4 ms, and how alike they are, 0 to 1."""
    frames = len(one.response) * 2
    across = np.fft.rfft(one.response, frames) * np.conj(np.fft.rfft(other.response, frames))
    found = np.fft.irfft(across, frames * _OVERSAMPLING) * _OVERSAMPLING
    reach = round(0.004 * DETECTOR_RATE_HZ) * _OVERSAMPLING
    near = np.concatenate([found[-reach:], found[: reach + 1]])
    best = int(near.argmax())
    level = float(np.linalg.norm(one.response) * np.linalg.norm(other.response)) + 1e-30
    return (best - reach) / _OVERSAMPLING / DETECTOR_RATE_HZ, max(0.0, float(near[best]) / level)


def direct_sound(echo: Echo) -> tuple[float, float]:
    """When the direct sound arrives, in seconds from where it was expected, and how clear it is.

    Clear is the strongest peak over the root mean square of what comes well before all sound.
    """
    fine = np.abs(_oversampled(echo.response))
    perfect = np.abs(_oversampled(echo.perfect))
    strongest = int(fine.argmax())
    noise = float(np.sqrt(np.mean(fine[: _QUIET_FRAMES * _OVERSAMPLING] ** 2))) + 1e-30
    first = _QUIET_FRAMES * _OVERSAMPLING
    centre = -_EARLIEST_FRAMES * _OVERSAMPLING
    chosen, height = strongest, float(fine[strongest])
    for at in range(first, strongest):
        if not fine[at - 1] < fine[at] >= fine[at + 1]:
            continue
        side_lobe = (
            perfect[centre + at - strongest] / perfect[centre] * height if centre + at >= strongest else 0.0
        )
        least = max(_SHARE * height, _OVER_SIDE_LOBE * side_lobe, _OVER_NOISE * noise)
        if fine[at] >= least:
            chosen = at
            break
    seconds = (chosen / _OVERSAMPLING + _EARLIEST_FRAMES) / DETECTOR_RATE_HZ
    return seconds, height / noise


def _oversampled(response: NDArray[np.float32]) -> NDArray[np.float64]:
    frames = len(response)
    spectrum = np.fft.rfft(response)
    made: NDArray[np.float64] = np.fft.irfft(spectrum, frames * _OVERSAMPLING) * _OVERSAMPLING
    return made
