"""The sound formats a programme can be written in, by file ending, as one table.

Kept light: the command line reads it before any array or codec is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from cuetrack.errors import UsageError

# The rates that converters and players run at. FLAC's encoder refuses some of those between them.
_PCM_RATES_HZ = (
    *(8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000),
    *(44_100, 48_000, 88_200, 96_000, 176_400, 192_000),
)
# ISO/IEC 11172-3 and 13818-3 give the rates from 16,000 Hz; the three below them are LAME's "MPEG 2.5".
_MP3_RATES_HZ = tuple(rate_hz for rate_hz in _PCM_RATES_HZ if rate_hz <= 48_000)
# RFC 7845, section 5.1: whatever the sound was sampled at, an Opus stream is timed at 48 kHz.
_OPUS_RATE_HZ = 48_000


@dataclass(frozen=True, slots=True)
class AudioFormat:
    """One way to store sound.

    `container` and `encoding` are libsndfile's names for its "major format" and "subtype".
    `compression` is libsndfile's, from 0.0 (largest file) to 1.0, and None leaves the encoder's own.
    """

    name: str
    container: Literal["WAV", "FLAC", "MP3", "OGG"]
    encoding: str
    rates_hz: tuple[int, ...]
    lossless: bool
    compression: float | None = None
    bit_rate_mode: Literal["CONSTANT"] | None = None


AUDIO_FORMATS = {
    ".wav": AudioFormat("WAV", "WAV", "PCM_24", _PCM_RATES_HZ, lossless=True),
    ".flac": AudioFormat("FLAC", "FLAC", "PCM_24", _PCM_RATES_HZ, lossless=True),
    # A constant 160 kbit/s from 32,000 Hz: players then find any minute of a long file exactly, which
    # they only guess at a variable rate. At less than this the frames of 11,025 and 12,000 Hz grow too
    # small for the tag that tells the encoder's delay, and every cue plays 1105 frames late (measured).
    ".mp3": AudioFormat("MP3", "MP3", "MPEG_LAYER_III", _MP3_RATES_HZ, False, 0.5, "CONSTANT"),
    ".ogg": AudioFormat("Ogg Vorbis", "OGG", "VORBIS", _PCM_RATES_HZ, lossless=False),
    ".opus": AudioFormat("Opus", "OGG", "OPUS", (_OPUS_RATE_HZ,), lossless=False),
}

PCM_BYTES = 3


def format_of(path: Path) -> AudioFormat:
    """The format that the ending of `path` asks for, in upper or lower case.

    Raises:
        UsageError: no format has that ending.

    >>> format_of(Path("quay.FLAC")).encoding
    'PCM_24'
    """
    ending = path.suffix.lower()
    if ending in AUDIO_FORMATS:
        return AUDIO_FORMATS[ending]
    if path.is_dir():
        raise UsageError(f"{path} is a folder; give the name of a file, such as {path / 'track.mp3'}")
    found = (
        f"the ending {path.suffix!r} of {path.name} is no sound format" if ending else f"{path} has no ending"
    )
    raise UsageError(f"{found}; allowed: {', '.join(AUDIO_FORMATS)}")


def programme_rate_hz(audio_format: AudioFormat, asked_rate_hz: int) -> int:
    """The rate at which a programme for this format is made; `rate_note` tells when it is not the asked one.

    Raises:
        UsageError: the format has no such rate.

    >>> programme_rate_hz(AUDIO_FORMATS[".opus"], 44_100)
    48000
    """
    if audio_format.rates_hz == (_OPUS_RATE_HZ,):
        return _OPUS_RATE_HZ
    if asked_rate_hz in audio_format.rates_hz:
        return asked_rate_hz
    near = min(audio_format.rates_hz, key=lambda rate_hz: abs(rate_hz - asked_rate_hz))
    allowed = ", ".join(str(rate_hz) for rate_hz in audio_format.rates_hz)
    message = f"{audio_format.name} is not written at {asked_rate_hz} Hz; the nearest rate is {near}"
    raise UsageError(f"{message} (allowed: {allowed})")


def rate_note(audio_format: AudioFormat, asked_rate_hz: int) -> str | None:
    """A sentence for the user if the programme is made at another rate than asked, else None."""
    rate_hz = programme_rate_hz(audio_format, asked_rate_hz)
    if rate_hz == asked_rate_hz:
        return None
    return f"{audio_format.name} always runs at {rate_hz} Hz, so the programme is made at {rate_hz} Hz"


def known_bytes(audio_format: AudioFormat, frames: int, channels: int) -> int:
    """Bytes that the sound itself will take in the file; 0 where that depends on the sound."""
    return frames * channels * PCM_BYTES if audio_format.container == "WAV" else 0
