"""Sound files → what they measure, and readers of them for a bed."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cuetrack.errors import SoundError
from cuetrack.sound.decoding import decoded_pieces
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.sound.units import db_to_linear

# Shape (frames, channels).
BedSamples = NDArray[np.float32]

# A smaller offset neither clicks nor takes room from the music. Common practice, no source.
_LEAST_OFFSET = db_to_linear(-60.0)


@dataclass(frozen=True, slots=True)
class MeasuredFile:
    """A file that can be played.

    `frames` at the programme's rate are all of it, or None if it is longer than what was asked for.
    `offset` is the mean of its samples, by channel, which is no sound and is taken away; zero where it
    is too small to matter.
    """

    path: Path
    frames: int | None
    loudness_lufs: float
    offset: tuple[float, ...]


def measured_file(
    path: Path, rate_hz: int, channels: int, most_frames: int, from_frame: int = 0
) -> MeasuredFile:
    """What a file is like from `from_frame` to `most_frames`, at the programme's rate; read once.

    Raises:
        SoundError: it holds no sound, is damaged, or has samples that are no numbers; says where.
        MediaMissingError: its kind needs ffmpeg, which is not here.
    """
    meter = LoudnessMeter(rate_hz, [2.0 / channels] * channels)
    total, sums = 0, np.zeros(channels)
    roughly: NDArray[np.float32] | None = None
    pieces = decoded_pieces(path, rate_hz, channels)
    for piece in pieces:
        if roughly is None:
            # The meter would take an offset that sets in at once for a blow.
            roughly = np.array(_offset(_sums(piece) / len(piece)), np.float32)
        heard = piece[max(0, from_frame - total) : most_frames - total]
        meter.add(heard - roughly if roughly.any() else heard)
        sums += _sums(piece)
        total += len(piece)
        if total > most_frames:
            break
    pieces.close()
    if not total:
        raise SoundError(f"{path.name} holds no sound; name another file")
    whole = None if total > most_frames else total
    return MeasuredFile(path, whole, meter.integrated_lufs(), _offset(sums / total))


def _sums(piece: BedSamples) -> NDArray[np.float64]:
    """Each channel's sum; along a column numpy is many times faster than over rows."""
    return np.array([column.sum(dtype=np.float64) for column in piece.T])


def _offset(means: NDArray[np.float64]) -> tuple[float, ...]:
    """The mean, rather than a high-pass, so that nothing rings at a file's ends or turns in phase."""
    return tuple(float(mean) if abs(mean) >= _LEAST_OFFSET else 0.0 for mean in means)


class FileReader:
    """Reads pieces of one file from a frame of it to its end; `close` it."""

    def __init__(
        self, pieces: Generator[BedSamples, None, None], file: MeasuredFile, from_frame: int
    ) -> None:
        self._pieces = pieces
        self._offset = np.array(file.offset, np.float32)
        self._rest = np.empty((0, len(file.offset)), np.float32)
        self._last = np.zeros(len(file.offset), np.float32)
        self.skip(from_frame)

    def skip(self, frames: int) -> None:
        """Passes over `frames`."""
        while frames:
            passed = min(frames, len(self._rest) or self._fill())
            if not passed:
                return
            self._take(passed)
            frames -= passed

    def read(self, frames: int) -> BedSamples:
        """The next `frames`; after the end its last frame, which a loop cut a hair too short needs."""
        made = np.empty((frames, len(self._offset)), np.float32)
        filled = 0
        while filled < frames and (len(self._rest) or self._fill()):
            taken = min(frames - filled, len(self._rest))
            made[filled : filled + taken] = self._take(taken)
            filled += taken
        made[filled:] = self._last
        if self._offset.any():
            made -= self._offset
        return made

    def close(self) -> None:
        """Lets go of the file."""
        self._pieces.close()

    def _take(self, frames: int) -> BedSamples:
        taken, self._rest = self._rest[:frames], self._rest[frames:]
        self._last = taken[-1]
        return taken

    def _fill(self) -> int:
        self._rest = next(self._pieces, self._rest[:0])
        return len(self._rest)
