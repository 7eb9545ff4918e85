"""A sound file → samples by another route than it was written: `wave` for WAV, ffmpeg for the rest."""

from __future__ import annotations

import subprocess
import wave
from collections.abc import Iterator
from pathlib import Path

import imageio_ffmpeg
import numpy as np
from numpy.typing import NDArray

BLOCK_FRAMES = 1 << 20


def decoded_blocks(path: Path, channels: int) -> Iterator[NDArray[np.int32]]:
    """Blocks of shape (frames, channels), full scale 2**31, at the file's own rate."""
    if path.suffix == ".wav":
        yield from _wave_blocks(path, channels)
    else:
        yield from _ffmpeg_blocks(path, channels)


def decoded(path: Path, channels: int) -> NDArray[np.int32]:
    """The whole file, shape (frames, channels)."""
    return np.concatenate(list(decoded_blocks(path, channels)))


def _wave_blocks(path: Path, channels: int) -> Iterator[NDArray[np.int32]]:
    with wave.open(str(path)) as file:
        assert (file.getsampwidth(), file.getnchannels()) == (3, channels)
        while data := file.readframes(BLOCK_FRAMES):
            low_first = np.frombuffer(data, np.uint8).reshape(-1, 3)
            padded = np.zeros((len(low_first), 4), np.uint8)
            padded[:, 1:] = low_first  # 24 bits become the upper three bytes of 32
            yield padded.view("<i4").reshape(-1, channels)


def _ffmpeg_blocks(path: Path, channels: int) -> Iterator[NDArray[np.int32]]:
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path)]
    command += ["-map", "0:a", "-f", "s32le", "-c:a", "pcm_s32le", "-"]
    block_bytes = BLOCK_FRAMES * 4 * channels
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        while data := process.stdout.read(block_bytes):
            yield np.frombuffer(data, "<i4").reshape(-1, channels)
        assert process.wait() == 0
