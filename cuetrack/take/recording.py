"""A sound file, or a video's sound → one channel of samples that can be read anywhere.

All channels are mixed into one. A file that breaks off is read as far as it goes, and said so.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from cuetrack.errors import MediaMissingError, SoundError
from cuetrack.sound.decoding import opened_sound, resampled_pieces
from cuetrack.take.samples import SampleFile

# Below the smallest step of 16 bits; and so far down one side does not cancel the other by chance.
_SILENT, _CANCELLED = 2.0**-16, 1e-3


@dataclass(frozen=True, slots=True)
class Recording:
    """What a file holds.

    `samples` are at the rate that was asked for; `rate_hz` and `frames` are the file's own. `peak` is the
    largest sample of the mix, `side_peaks` of each side before. `problem` says where a file breaks off.
    """

    path: Path
    rate_hz: int
    frames: int
    channels: int
    samples: SampleFile
    peak: float
    problem: str | None = None
    side_peaks: tuple[float, ...] = ()

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.frames / self.rate_hz

    @property
    def is_silent(self) -> bool:
        """Whether nothing is in it."""
        return max(self.peak, *self.side_peaks, 0.0) < _SILENT

    @property
    def is_cancelled(self) -> bool:
        """Whether both sides are opposite to each other, so that nothing is in their mix."""
        return not self.is_silent and self.peak < _CANCELLED * max(self.side_peaks, default=0.0)

    @property
    def silent_side(self) -> str | None:
        """Which of two sides holds nothing, if the other does."""
        if len(self.side_peaks) != 2 or self.is_silent or min(self.side_peaks) >= _SILENT:
            return None
        return "left" if self.side_peaks[0] < _SILENT else "right"


@contextmanager
def recorded(path: Path, rate_hz: int | None = None) -> Iterator[Recording]:
    """The sound in `path`, at `rate_hz`, or at its own rate if None.

    Raises:
        SoundError: it is no sound, or nothing of it can be read.
        MediaMissingError: its kind needs ffmpeg, which is not here.
    """
    with opened_sound(path, even_cut=True) as file, SampleFile(rate_hz or file.rate_hz) as samples:
        frames, peak, problem = 0, 0.0, None
        sides = min(2, file.channels)
        side_peaks = np.zeros(sides, np.float32)

        def counted() -> Iterator[np.ndarray]:
            nonlocal frames, problem
            try:
                for piece in file.mixed_down(sides):
                    frames += len(piece)
                    np.maximum(side_peaks, np.abs(piece).max(axis=0, initial=0.0), out=side_peaks)
                    yield piece.mean(axis=1, keepdims=True)
            except MediaMissingError:
                raise
            except SoundError as error:
                if not frames:
                    raise
                problem = str(error)

        for piece in resampled_pieces(counted(), file.rate_hz, samples.rate_hz, 1):
            mono = piece[:, 0]
            if len(mono):
                peak = max(peak, float(np.abs(mono).max()))
            samples.append(mono)
        yield Recording(
            *(path, file.rate_hz, frames, file.channels, samples, peak, problem),
            tuple(float(side) for side in side_peaks),
        )
