"""Samples of any length: kept in a temporary file, in memory only what is asked for."""

from __future__ import annotations

import tempfile
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from cuetrack.errors import SoundError

Samples = NDArray[np.float32]


class SampleFile:
    """Float32 samples; of one channel as shape (frames,), of more as (frames, channels).

    The file is gone when it is closed.
    """

    def __init__(self, rate_hz: int, channels: int | None = None) -> None:
        self.rate_hz = rate_hz
        self.frames = 0
        self._shape = () if channels is None else (channels,)
        self._frame_bytes = 4 * (channels or 1)
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 -- closed by our own `close`

    def append(self, samples: Samples) -> None:
        """Adds samples at the end.

        Raises:
            SoundError: the temporary folder is full.
        """
        try:
            self._file.seek(0, 2)
            self._file.write(samples.astype(np.float32, copy=False).tobytes())
            self._file.flush()
        except OSError as error:
            where = tempfile.gettempdir()
            reason = error.strerror or error
            message = f"the sound cannot be kept in {where} while it is looked at: {reason}; make room there"
            raise SoundError(message) from None
        self.frames += len(samples)

    def read(self, start_frame: int, frames: int) -> Samples:
        """`frames` samples from `start_frame` on, which may be negative; zeros outside of the sound."""
        first, last = max(0, start_frame), min(self.frames, start_frame + frames)
        if first >= last:
            return np.zeros((frames, *self._shape), np.float32)
        self._file.seek(first * self._frame_bytes)
        data = self._file.read((last - first) * self._frame_bytes)
        inside = np.frombuffer(data, np.float32).reshape(-1, *self._shape)
        if len(inside) == frames:
            return inside
        made = np.zeros((frames, *self._shape), np.float32)
        made[first - start_frame : last - start_frame] = inside
        return made

    def close(self) -> None:
        """Gives the file's room back."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
