"""Samples → a file that ffmpeg encodes while it is fed: AAC, and MP3 and Opus in a part of libsndfile's time.

The same samples give the same bytes: no dates, no versions (`bitexact`).
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack, suppress
from functools import cache
from pathlib import Path
from threading import Thread
from types import MappingProxyType, TracebackType
from typing import IO

import numpy as np
from numpy.typing import NDArray

from cuetrack.errors import MediaMissingError
from cuetrack.sound.ffmpeg import SAFE_ARGUMENTS, ffmpeg_path, has_ffmpeg, started_whole
from cuetrack.writers.finish import failure_of
from cuetrack.writers.formats import AudioFormat

# By the format's name: ffmpeg's encoder and its container.
_ENCODERS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {"MP3": ("libmp3lame", "mp3"), "M4A": ("aac", "ipod"), "Opus": ("libopus", "opus")}
)
# ffmpeg's documentation calls the `fast` AAC coder the better one from 64 kbit/s on. The usual one made
# tones play up to 6 dB too high where they set in, and left 14 dB more noise. Temporal noise shaping did the
# same to what sets in on the first frame, by up to 3.8 dB. What `fast` cannot hold is a pure steady tone
# above -7 dBFS, which none of ours reaches at a loudness of -14 LUFS: it loses up to 2.7 dB. (Measured with
# ffmpeg 4.2, 5.1, 7.0 and 9.0.)
_AAC_OPTIONS = ("-aac_coder", "fast", "-aac_tns", "0")
_PIPE_BYTES = 1 << 20
_EXACT = ("-fflags", "+bitexact", "-flags:a", "+bitexact")


def has_encoder(audio_format: AudioFormat) -> bool:
    """Whether there is an ffmpeg here that encodes this format."""
    if audio_format.name not in _ENCODERS or not has_ffmpeg():
        return False
    return _ENCODERS[audio_format.name][0] in _encoders_of(ffmpeg_path(""))


def refuse_unwritable(audio_format: AudioFormat) -> None:
    """Tells before any work is done that a format cannot be written here.

    Raises:
        MediaMissingError: only ffmpeg writes it, and there is none.
    """
    if audio_format.container == "M4A":
        ffmpeg_path("an M4A file")
    elif audio_format.name in _ENCODERS:
        # Asked beside the reading of the plan: it takes a tenth of a second.
        with suppress(MediaMissingError):
            Thread(target=_encoders_of, args=(ffmpeg_path(""),), name="encoders", daemon=True).start()


@cache
def _encoders_of(program: Path) -> frozenset[str]:
    """The names of an ffmpeg's encoders; not every build has the ones of other projects."""
    command = [str(program), *SAFE_ARGUMENTS, "-encoders"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    rows = (line.split() for line in done.stdout.decode(errors="replace").splitlines())
    return frozenset(row[1] for row in rows if len(row) > 1)


class Encoder:
    """Writes one file; use it in a `with` block, at whose end the file is whole.

    Args:
        path: the file.
        audio_format: one that ffmpeg writes.
        rate_hz: of the samples.
        channels: 1 or 2.
        kbit_per_second: of all channels.
        metadata: in ffmpeg's text format, "" for none.

    Raises:
        MediaMissingError: there is no ffmpeg.
        OSError: it could not write the file.
    """

    def __init__(
        self,
        path: Path,
        audio_format: AudioFormat,
        rate_hz: int,
        channels: int,
        kbit_per_second: int | None,
        metadata: str = "",
    ) -> None:
        codec, muxer = _ENCODERS[audio_format.name]
        program = ffmpeg_path(f"a file in {audio_format.name}")
        source = ["-f", "f32le", "-ar", str(rate_hz), "-ac", str(channels), "-i", "pipe:0"]
        bit_rate = ["-b:a", f"{kbit_per_second}k"] if kbit_per_second else []
        # Else some versions cut what an M4A says of its length to whole milliseconds.
        own = [*_AAC_OPTIONS, "-movie_timescale", str(rate_hz)] if codec == "aac" else []
        result = ["-c:a", codec, *bit_rate, *_EXACT, *own, "-f", muxer, "-y", f"file:{path}"]
        self._path = path
        with ExitStack() as until_started:
            told: list[str] = []
            if metadata:
                folder = until_started.enter_context(tempfile.TemporaryDirectory(prefix="cuetrack-"))
                file = Path(folder, "metadata.txt")
                file.write_text(metadata, encoding="utf-8")
                told = ["-f", "ffmetadata", "-i", f"file:{file}", "-map", "0:a", "-map_chapters", "1"]
            self._said: IO[bytes] = until_started.enter_context(tempfile.TemporaryFile())
            self._process = started_whole(
                [str(program), *SAFE_ARGUMENTS, *source, *told, *result],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=self._said,
                # So much that it never waits for a thread of ours; only Linux takes it.
                pipesize=_PIPE_BYTES,
            )
            self._temporary = until_started.pop_all()

    def write(self, samples: NDArray[np.float32]) -> None:
        """Takes the next samples, shape (frames, channels)."""
        if self._process.stdin is None:
            raise ValueError("an encoder is fed through a pipe")
        try:
            self._process.stdin.write(np.ascontiguousarray(samples, "<f4").data)
        except OSError:  # it has ended; Windows calls that an invalid argument
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
                with suppress(OSError):  # what it could not be handed any more is told by how it ended
                    self._process.stdin.close()
            failed = self._process.wait() != 0
            if failed and kind is None:
                raise self._failure()
        finally:
            self._temporary.close()

    def _failure(self) -> OSError:
        self._said.seek(0)
        lines = self._said.read(4000).decode(errors="replace").strip().splitlines()
        return failure_of(self._path, lines[-1] if lines else "the encoder stopped")
