"""The sound formats a programme can be written in, by file ending, as one table.

Kept light: the command line reads it before any array or codec is loaded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal, get_args

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
# ISO/IEC 14496-3, table of sampling frequency indices, up to what phones play.
_AAC_RATES_HZ = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)


Quality = Literal["small", "good", "best"]
QUALITIES: tuple[Quality, ...] = get_args(Quality)


@dataclass(frozen=True, slots=True)
class Encoding:
    """How samples are stored at one quality.

    `subtype` is libsndfile's name for it, `pcm_bytes` what one sample takes where that is fixed, and
    `kbit_per_second` the bit rate of both channels where one is asked for: constant in an MP3, the usual
    one elsewhere. `compression` is libsndfile's, from 0.0 (largest file) to 1.0, where there is no bit
    rate, and None leaves the encoder's own.
    """

    subtype: str
    pcm_bytes: int = 0
    kbit_per_second: int | None = None
    compression: float | None = None


@dataclass(frozen=True, slots=True)
class AudioFormat:
    """One way to store sound; `container` is libsndfile's name for it, save M4A, which it does not write."""

    name: str
    container: Literal["WAV", "FLAC", "MP3", "OGG", "M4A"]
    rates_hz: tuple[int, ...]
    encodings: Mapping[Quality, Encoding]

    @property
    def media_type(self) -> str:
        """Its media type, as browsers know it."""
        other = {"MP3": "mpeg", "M4A": "mp4"}
        return f"audio/{other.get(self.container, self.container.lower())}"


_LEAST_KBIT_PER_SECOND = 64
# LAME, libmp3lame/presets.c: what it multiplies its input by, against clipping, up to 160 kbit/s, and from
# where on no more. Between the two are other factors.
_LAME_GAIN, _LAME_EXACT_KBIT_PER_SECOND = 0.95, 256

_16_BITS, _24_BITS, _32_BITS = Encoding("PCM_16", 2), Encoding("PCM_24", 3), Encoding("FLOAT", 4)


def _each(small: Encoding, good: Encoding, best: Encoding) -> Mapping[Quality, Encoding]:
    return MappingProxyType({"small": small, "good": good, "best": best})


def _at_bit_rates(subtype: str, small: int, good: int, best: int) -> Mapping[Quality, Encoding]:
    return _each(*(Encoding(subtype, kbit_per_second=rate) for rate in (small, good, best)))


AUDIO_FORMATS: Mapping[str, AudioFormat] = MappingProxyType(
    {
        ".wav": AudioFormat("WAV", "WAV", _PCM_RATES_HZ, _each(_16_BITS, _24_BITS, _32_BITS)),
        ".flac": AudioFormat("FLAC", "FLAC", _PCM_RATES_HZ, _each(_16_BITS, _24_BITS, _24_BITS)),
        # A constant bit rate: players then find any minute of a long file exactly, which they only guess
        # at a variable one.
        ".mp3": AudioFormat("MP3", "MP3", _MP3_RATES_HZ, _at_bit_rates("MPEG_LAYER_III", 96, 160, 256)),
        ".m4a": AudioFormat("M4A", "M4A", _AAC_RATES_HZ, _at_bit_rates("AAC", 96, 160, 256)),
        ".ogg": AudioFormat(
            "Ogg Vorbis",
            "OGG",
            _PCM_RATES_HZ,
            _each(
                Encoding("VORBIS", compression=0.7), Encoding("VORBIS"), Encoding("VORBIS", compression=0.2)
            ),
        ),
        # RFC 6716, section 2.1.1: 64 to 128 kbit/s for music in stereo (from memory).
        ".opus": AudioFormat("Opus", "OGG", (_OPUS_RATE_HZ,), _at_bit_rates("OPUS", 80, 128, 192)),
    }
)


def format_of(path: Path) -> AudioFormat:
    """The format that the ending of `path` asks for, in upper or lower case.

    Raises:
        UsageError: no format has that ending, or the name is no text, which libsndfile cannot write.

    >>> format_of(Path("quay.FLAC")).name
    'FLAC'
    """
    ending = path.suffix.lower()
    if any("\ud800" <= letter <= "\udfff" for letter in str(path)):
        raise UsageError(f"{path} has a name that is no text in UTF-8; give another one with -o")
    if ending in AUDIO_FORMATS:
        return AUDIO_FORMATS[ending]
    if path.is_dir():
        raise UsageError(f"{path} is a folder; give the name of a file, such as {path / 'track.mp3'}")
    found = (
        f"the ending {path.suffix!r} of {path.name} is no sound format that is written here"
        if ending
        else f"{path} has no ending"
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


def kbit_per_second(audio_format: AudioFormat, quality: Quality, channels: int) -> int | None:
    """The bit rate that is asked of an encoder; None where there is none.

    One channel gets half of it, but 64 kbit/s or more: at less an MP3's frames have no room for the tag
    that tells the encoder's delay, Opus takes all for speech and moves onsets by up to 3 samples
    (measured), and ffmpeg's `fast` AAC coder is the worse one (its documentation). An encoder takes the
    nearest rate that its standard has.

    >>> kbit_per_second(AUDIO_FORMATS[".m4a"], "good", 1), kbit_per_second(AUDIO_FORMATS[".m4a"], "small", 1)
    (80, 64)
    """
    both = audio_format.encodings[quality].kbit_per_second
    return None if both is None else max(both * channels // 2, _LEAST_KBIT_PER_SECOND)


def encoder_gain(audio_format: AudioFormat, kbit_per_second: int | None, rate_hz: int) -> float:
    """What an encoder multiplies its input by; it is divided by that before, so that it plays as loud.

    LAME does so at low bit rates; an MP3 below 32,000 Hz has 160 kbit/s at most (ISO/IEC 13818-3).
    Measured the same through ffmpeg and through libsndfile, in versions 3.100 and 4.1a.

    >>> [encoder_gain(AUDIO_FORMATS[".mp3"], rate, 48_000) for rate in (64, 160, 256)]
    [0.95, 0.95, 1.0]
    """
    if audio_format.container != "MP3" or kbit_per_second is None:
        return 1.0
    exact = rate_hz >= 32_000 and kbit_per_second >= _LAME_EXACT_KBIT_PER_SECOND
    return 1.0 if exact else _LAME_GAIN


def known_bytes(audio_format: AudioFormat, frames: int, channels: int, quality: Quality = "good") -> int:
    """Bytes that the sound itself will take in the file; 0 where that depends on the sound."""
    if audio_format.container != "WAV":
        return 0
    return frames * channels * audio_format.encodings[quality].pcm_bytes


def most_bytes_of(
    audio_format: AudioFormat, frames: int, rate_hz: int, channels: int, quality: Quality
) -> int:
    """Bytes that the sound itself may take in the file: by its bit rate, else as if nothing were saved.

    >>> most_bytes_of(AUDIO_FORMATS[".mp3"], 48_000, 48_000, 2, "good")
    20000
    """
    bit_rate = kbit_per_second(audio_format, quality, channels)
    if bit_rate is not None:
        return frames * bit_rate * 125 // rate_hz
    return frames * channels * (audio_format.encodings[quality].pcm_bytes or _24_BITS.pcm_bytes)
