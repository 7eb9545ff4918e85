"""Blocks of samples → a sound file, through libsndfile or ffmpeg, in memory that does not grow.

PCM of 24 bits has each sample at the nearest of its 2^24 values; 16 bits are dithered. A WAV of
4 GiB or more becomes RF64 (EBU Tech 3306), which is WAV with lengths of 64 bits. The same samples give the
same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.blocks import Samples, regrouped
from cuetrack.writers.ahead import made_ahead
from cuetrack.writers.dither import dithered_16_bits
from cuetrack.writers.encoder import Encoder, has_encoder
from cuetrack.writers.finish import failure_of, finish
from cuetrack.writers.formats import (
    AudioFormat,
    Encoding,
    Quality,
    encoder_gain,
    kbit_per_second,
    known_bytes,
)
from cuetrack.writers.mp3_tag import set_mp3_length
from cuetrack.writers.tags import Tags, chapters_metadata
from cuetrack.writers.whole import is_whole

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
    tags: Tags,
    quality: Quality = "good",
    progress: Callable[[int], None] | None = None,
    mix_ahead: bool = True,
    rf64_above_bytes: int = RF64_ABOVE_BYTES,
) -> None:
    """Writes a programme to `path`, which `writers.atomic` has made; what is in it is replaced.

    Unless there is little to encode, the blocks may be made in another thread while this one encodes.

    Args:
        path: the file.
        blocks: float32, shape (frames, width), of any lengths, full scale 1.0; width 1 or `channels`.
        rate_hz: sample rate; one of the format's.
        channels: 1 or 2; a programme of one channel is copied to each.
        frames: length of the programme, 1 or more: the sum of the blocks' lengths.
        audio_format: how it is stored.
        tags: what players show.
        quality: how well, or how small.
        progress: called with the number of frames written so far.
        mix_ahead: make the blocks in that thread; where all cores are at work, it only costs time.
        rf64_above_bytes: more PCM than this goes into RF64.

    Raises:
        OSError: the file could not be written whole; `writers.atomic` makes it a sentence.
        MediaMissingError: the format needs ffmpeg, which is not here.
        ValueError: the blocks are longer or shorter than `frames`; only a mistake in our own code.
    """
    # Only where a file is written: loading libsndfile takes time that the other commands save.
    import mutagen
    import soundfile

    encoding, container = audio_format.encodings[quality], audio_format.container
    bit_rate = kbit_per_second(audio_format, quality, channels)
    gain = 1 / encoder_gain(audio_format, bit_rate, rate_hz)
    chunks = _louder(_counted(regrouped(blocks, _WRITE_FRAMES), frames), gain)
    if mix_ahead and container != "WAV":  # whose bytes take less time than to hand them over
        chunks = made_ahead(chunks)
    try:
        if container == "M4A" or has_encoder(audio_format):
            # Only M4A has its chapters from the encoder; other formats get theirs with the tags.
            chapters = tags.chapters if container == "M4A" else ()
            metadata = chapters_metadata(chapters) if chapters else ""
            with Encoder(path, audio_format, rate_hz, channels, bit_rate, metadata) as encoder:
                _feed(encoder, chunks, channels, progress)
            if container == "MP3":
                set_mp3_length(path, rate_hz, frames)
        else:
            most_bytes = known_bytes(audio_format, frames, channels, quality) + len(tags.picture or b"")
            opened_as = "RF64" if most_bytes > rf64_above_bytes else container
            with _opened(path, rate_hz, channels, opened_as, encoding, bit_rate) as file:
                if container == "WAV":
                    _set_texts(file, tags)
                _write_chunks(file, chunks, channels, encoding, container == "WAV", progress)
        if not is_whole(path, frames, audio_format, rate_hz):
            raise failure_of(path, "the file came out short")
        finish(path, audio_format, encoding, tags)
    # soundfile asserts that libsndfile wrote all it was given.
    except (soundfile.SoundFileError, mutagen.MutagenError, AssertionError) as error:
        raise failure_of(path, str(error)) from error
    finally:
        chunks.close()


def _opened(
    path: Path, rate_hz: int, channels: int, container: str, encoding: Encoding, bit_rate: int | None
) -> SoundFile:
    import soundfile

    return soundfile.SoundFile(
        path,
        "w",
        rate_hz,
        channels,
        encoding.subtype,
        format=container,
        compression_level=_compression(encoding, rate_hz, channels, bit_rate),
        bitrate_mode="CONSTANT" if container == "MP3" else None,
    )


def _compression(encoding: Encoding, rate_hz: int, channels: int, bit_rate: int | None) -> float | None:
    """By libsndfile's lines from its compression to a bit rate: of all channels in MP3, of one in Opus."""
    if bit_rate is None:
        return encoding.compression
    if encoding.subtype == "OPUS":
        return 1 - (bit_rate / channels - 6) / (256 - 6)
    # At less than this the frames of 11,025 and 12,000 Hz grow too small for the tag that tells the
    # encoder's delay, and every cue plays 1105 frames late (measured).
    return 0.5 if rate_hz < 32_000 else (320 - bit_rate) / (320 - 32)


def _set_texts(file: SoundFile, tags: Tags) -> None:
    """Into the header of a WAV, before its first sample."""
    for name, text in (("title", tags.title), ("artist", tags.artist), ("comment", tags.comment)):
        if text:
            setattr(file, name, text)


def _counted(chunks: Iterable[Samples], frames: int) -> Generator[Samples, None, None]:
    written = 0
    for chunk in chunks:
        written += len(chunk)
        yield chunk
    if written != frames:
        raise ValueError(f"the programme has {frames} frames but {written} came to be written")


def _louder(chunks: Generator[Samples, None, None], gain: float) -> Generator[Samples, None, None]:
    return chunks if gain == 1.0 else (chunk * np.float32(gain) for chunk in chunks)


def _feed(
    encoder: Encoder, chunks: Iterable[Samples], channels: int, progress: Callable[[int], None] | None
) -> None:
    done = 0
    for chunk in chunks:
        encoder.write(_on_channels(chunk, channels))
        done += len(chunk)
        if progress is not None:
            progress(done)


def _write_chunks(
    file: SoundFile,
    chunks: Iterable[Samples],
    channels: int,
    encoding: Encoding,
    may_skip: bool,
    progress: Callable[[int], None] | None,
) -> None:
    """Writes all chunks.

    In a WAV, silence is passed over: what is never written reads as zeros, takes no time, and no room
    on a disk that can leave it out. The first and the last frame are always written, since libsndfile
    seeks only in a file that has begun, and a file ends where something was written.
    """
    written = skipped = 0
    for index, chunk in enumerate(chunks):
        if may_skip and written and not chunk.any():
            skipped += len(chunk)
        else:
            if skipped:
                file.seek(skipped, os.SEEK_CUR)
                skipped = 0
            file.write(_on_channels(_stored(chunk, index, encoding), channels))
        written += len(chunk)
        if progress is not None:
            progress(written)
    if skipped:
        file.seek(skipped - 1, os.SEEK_CUR)
        file.write(_on_channels(_stored(np.zeros((1, 1), np.float32), 0, encoding), channels))


def _stored(chunk: Samples, index: int, encoding: Encoding) -> NDArray[Any]:
    """Samples as libsndfile takes them for this encoding."""
    match encoding.pcm_bytes:
        case 2:
            return dithered_16_bits(chunk, index)
        case 3:
            return _24_bits(chunk)
        case _:
            return chunk


def _on_channels(samples: NDArray[Any], channels: int) -> NDArray[Any]:
    return samples if samples.shape[1] == channels else np.repeat(samples, channels, axis=1)


def _24_bits(samples: Samples) -> NDArray[np.int32]:
    """24-bit samples in the upper bits of 32, where libsndfile takes them from.

    Each is the integer nearest to sample · 2^23, an exact half to the even one, held to
    -2^23 … 2^23 - 1. All steps are exact in float32, whose significand has 24 bits.
    """
    steps: NDArray[np.float32] = np.rint(samples * _PCM_STEPS)
    np.clip(steps, -_PCM_STEPS, _PCM_STEPS - 1, out=steps)
    return (steps * np.float32(256)).astype(np.int32)
