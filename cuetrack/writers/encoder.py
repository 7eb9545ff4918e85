"""Samples → a file that ffmpeg encodes while it is fed: AAC, and MP3 in a third of libsndfile's time.

The same samples give the same bytes: no dates, no versions (`bitexact`).
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path
from types import TracebackType
from typing import IO

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.ffmpeg import SAFE_ARGUMENTS, ffmpeg_path
from cuetrack.writers.finish import failure_of

_ENCODERS = {"MP3": ("libmp3lame", "mp3"), "ipod": ("aac", "ipod")}
_EXACT = ("-map_metadata", "-1", "-fflags", "+bitexact", "-flags:a", "+bitexact")


class Encoder:
    """Writes one file; use it in a `with` block, at whose end the file is whole.

    Raises:
        MediaMissingError: there is no ffmpeg.
        OSError: it could not write the file.
    """

    def __init__(
        self, path: Path, container: str, rate_hz: int, channels: int, kbit_per_second: int | None
    ) -> None:
        codec, muxer = _ENCODERS[container]
        program = ffmpeg_path("an MP3 or M4A file")
        source = ["-f", "f32le", "-ar", str(rate_hz), "-ac", str(channels), "-i", "pipe:0"]
        bit_rate = ["-b:a", f"{kbit_per_second}k"] if kbit_per_second else []
        result = ["-c:a", codec, *bit_rate, *_EXACT, "-f", muxer, "-y", f"file:{path}"]
        self._path = path
        self._said: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the encoder
        self._process = subprocess.Popen(
            [str(program), *SAFE_ARGUMENTS, *source, *result],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=self._said,
        )

    def write(self, samples: NDArray[np.float32]) -> None:
        """Takes the next samples, shape (frames, channels)."""
        if self._process.stdin is None:
            raise ValueError("an encoder is fed through a pipe")
        try:
            self._process.stdin.write(np.ascontiguousarray(samples, "<f4").tobytes())
        except BrokenPipeError:
            self._process.wait()
            raise self._failure() from None

    def __enter__(self) -> Encoder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is not None:
                self._process.kill()
            if self._process.stdin is not None:
                self._process.stdin.close()
            failed = self._process.wait() != 0
            if failed and kind is None:
                raise self._failure()
        except BrokenPipeError:
            self._process.wait()
            raise self._failure() from None
        finally:
            self._said.close()

    def _failure(self) -> OSError:
        self._said.seek(0)
        lines = self._said.read(4000).decode(errors="replace").strip().splitlines()
        return failure_of(self._path, lines[-1] if lines else "the encoder stopped")
