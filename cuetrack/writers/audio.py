"""Blocks of samples → a sound file, through libsndfile, in memory that does not grow.

PCM is 24 bits, each sample the nearest of its 2^24 values. A WAV of 4 GiB or more becomes RF64
(EBU Tech 3306), which is WAV with lengths of 64 bits. The same samples give the same bytes.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.blocks import Samples
from cuetrack.writers.finish import finish, is_whole
from cuetrack.writers.formats import AudioFormat, known_bytes

if TYPE_CHECKING:
    from soundfile import SoundFile

# The lengths in a RIFF header have 32 bits; 64 KiB are left for the header and the title.
RF64_ABOVE_BYTES = 2**32 - 2**16

# The Vorbis encoder's bytes depend on how many frames it is handed at a time, so that is fixed here.
_WRITE_FRAMES = 16_384

_PCM_STEPS = np.float32(2**23)


def write_audio(
    path: Path,
    blocks: Iterable[Samples],
    *,
    rate_hz: int,
    channels: int,
    frames: int,
    audio_format: AudioFormat,
    title: str,
    progress: Callable[[int], None] | None = None,
    rf64_above_bytes: int = RF64_ABOVE_BYTES,
) -> None:
    """Writes a programme to `path`, which `writers.atomic` has made; what is in it is replaced.

    Args:
        path: the file.
        blocks: float32, mono, shape (frames,), of any lengths, full scale 1.0.
        rate_hz: sample rate; one of the format's.
        channels: 1 or 2; each gets the same samples.
        frames: length of the programme, 1 or more: the sum of the blocks' lengths.
        audio_format: how it is stored.
        title: name of the session, for players to show.
        progress: called with the number of frames written so far.
        rf64_above_bytes: more PCM than this goes into RF64.

    Raises:
        OSError: the file could not be written whole; `writers.atomic` makes it a sentence.
        ValueError: the blocks are longer or shorter than `frames`; only a mistake in our own code.
    """
    # Only where a file is written: loading libsndfile takes time that the other commands save.
    import mutagen
    import soundfile

    is_rf64 = known_bytes(audio_format, frames, channels) > rf64_above_bytes
    try:
        with soundfile.SoundFile(
            path,
            "w",
            rate_hz,
            channels,
            audio_format.encoding,
            format="RF64" if is_rf64 else audio_format.container,
            compression_level=audio_format.compression,
            bitrate_mode=audio_format.bit_rate_mode,
        ) as file:
            if audio_format.container != "MP3":  # there it writes 30 bytes of no stated character set
                file.title = title
            written = _write_chunks(file, _chunks(blocks), channels, audio_format, progress)
        if written != frames:
            raise ValueError(f"the programme has {frames} frames but {written} came to be written")
        if not is_whole(path, frames):
            raise _cause(path, "the file came out short")
        finish(path, audio_format, title)
    # soundfile asserts that libsndfile wrote all it was given.
    except (soundfile.SoundFileError, mutagen.MutagenError, AssertionError) as error:
        raise _cause(path, str(error)) from error


def _write_chunks(
    file: SoundFile,
    chunks: Iterable[Samples],
    channels: int,
    audio_format: AudioFormat,
    progress: Callable[[int], None] | None,
) -> int:
    """Writes all chunks; returns the number of frames.

    In a WAV, silence is passed over: what is never written reads as zeros, takes no time, and no room
    on a disk that can leave it out. The first and the last frame are always written, since libsndfile
    seeks only in a file that has begun, and a file ends where something was written.
    """
    stored = _pcm if audio_format.lossless else _unchanged
    may_skip = audio_format.container == "WAV"
    written = skipped = 0
    for chunk in chunks:
        if may_skip and written and not chunk.any():
            skipped += len(chunk)
        else:
            if skipped:
                file.seek(skipped, os.SEEK_CUR)
                skipped = 0
            file.write(np.repeat(stored(chunk)[:, np.newaxis], channels, axis=1))
        written += len(chunk)
        if progress is not None:
            progress(written)
    if skipped:
        file.seek(skipped - 1, os.SEEK_CUR)
        file.write(np.zeros((1, channels), np.int32))
    return written


def _pcm(samples: Samples) -> NDArray[np.int32]:
    """24-bit samples in the upper bits of 32, where libsndfile takes them from.

    Each is the integer nearest to sample · 2^23, an exact half to the even one, held to
    -2^23 … 2^23 - 1. All steps are exact in float32, whose significand has 24 bits.
    """
    steps: NDArray[np.float32] = np.rint(samples * _PCM_STEPS)
    np.clip(steps, -_PCM_STEPS, _PCM_STEPS - 1, out=steps)
    return (steps * np.float32(256)).astype(np.int32)


def _unchanged(samples: Samples) -> Samples:
    return samples


def _chunks(blocks: Iterable[Samples]) -> Iterator[Samples]:
    """The same samples in chunks of `_WRITE_FRAMES`; only the last may be shorter."""
    kept = np.empty(_WRITE_FRAMES, np.float32)
    kept_frames = 0
    for block in blocks:
        rest = block
        while len(rest):
            if kept_frames == 0 and len(rest) >= _WRITE_FRAMES:
                chunk, rest = rest[:_WRITE_FRAMES], rest[_WRITE_FRAMES:]
                yield chunk
                continue
            head, rest = rest[: _WRITE_FRAMES - kept_frames], rest[_WRITE_FRAMES - kept_frames :]
            kept[kept_frames : kept_frames + len(head)] = head
            kept_frames += len(head)
            if kept_frames == _WRITE_FRAMES:
                yield kept
                kept_frames = 0
    if kept_frames:
        yield kept[:kept_frames]


def _cause(path: Path, what: str) -> OSError:
    """Why a write failed: libsndfile says only that it did, so the system is asked again."""
    try:
        with path.open("ab") as file:
            file.write(bytes(_WRITE_FRAMES))
    except OSError as error:
        return OSError(error.errno, os.strerror(error.errno or errno.EIO), str(path))
    return OSError(errno.EIO, what, str(path))
