"""The tag in the first frame of an MP3 that tells how much of its start and its end is no sound.

LAME's extension of the Xing tag (The LAME project, "Mp3 Info Tag revision 1"): 120 bytes of Xing tag, the
encoder's name, and 21 bytes from its start 12 bits of encoder delay and 12 of padding; a CRC of all
before it ends the tag. ffmpeg tells the padding wrongly where its last packet is short, and a player would
play up to a frame too much. It also calls the encoder `Lavf lame` where its output is to be exact, and a
browser that reads the delay after `LAME` and `Lavc` only (Gecko, `FrameParser::VBRHeader::ParseXing`)
would play every cue 1105 samples late.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from cuetrack.writers.finish import failure_of

_XING_BYTES, _DELAY_AT, _CRC_AT = 120, 21, 34
_FRAMES_AT, _BYTES_AT = 8, 12
_NAME = b"Lavc lame"
# Samples in a frame: ISO/IEC 11172-3 (32,000 Hz and up), ISO/IEC 13818-3 (below).
_FRAME_SAMPLES, _LOW_RATE_FRAME_SAMPLES, _LOW_RATE_BELOW_HZ = 1152, 576, 32_000
_ID3_HEADER_BYTES = 10
# No frame is longer: 320 kbit/s at 32,000 Hz (ISO/IEC 11172-3, 2.4.3.1).
_MOST_FRAME_BYTES = 1_441


@dataclass(frozen=True, slots=True)
class _FirstFrame:
    """The bytes of a file from `start` on, where its first frame is, and where in them the tag is."""

    start: int
    data: bytearray
    tag: int | None

    def number_at(self, at: int) -> int:
        """A number of 32 bits, highest byte first."""
        return int.from_bytes(self.data[at : at + 4], "big")


def set_mp3_length(path: Path, rate_hz: int, frames: int) -> None:
    """Makes a whole MP3 that ffmpeg wrote say that it holds `frames`.

    Raises:
        OSError: there is no such tag, no padding that fits, or no room to write.
    """
    with path.open("r+b") as file:
        first = _first_frame(file)
        if first.tag is None:
            raise failure_of(path, "the encoder left no tag that tells its length")
        data, mp3_frames = first.data, first.number_at(first.tag + _FRAMES_AT)
        samples = _LOW_RATE_FRAME_SAMPLES if rate_hz < _LOW_RATE_BELOW_HZ else _FRAME_SAMPLES
        at = first.tag + _XING_BYTES + _DELAY_AT
        delay = int.from_bytes(data[at : at + 3], "big") >> 12
        padding = mp3_frames * samples - delay - frames
        if not 0 <= padding < 1 << 12:
            raise failure_of(path, f"the encoder wrote {mp3_frames} frames of MP3 for {frames} samples")
        data[at : at + 3] = (delay << 12 | padding).to_bytes(3, "big")
        name_at = first.tag + _XING_BYTES
        data[name_at : name_at + len(_NAME)] = _NAME
        crc_at = first.tag + _XING_BYTES + _CRC_AT
        data[crc_at : crc_at + 2] = _crc16(data[:crc_at]).to_bytes(2, "big")
        file.seek(first.start + name_at)
        file.write(data[name_at : crc_at + 2])


def has_all_bytes(path: Path) -> bool:
    """Whether an MP3 is as long as its tag says, which counts from the first frame to the end of the file."""
    with path.open("rb") as file:
        first = _first_frame(file)
    if first.tag is None:
        return False
    return path.stat().st_size - first.start == first.number_at(first.tag + _BYTES_AT)


def _first_frame(file: BinaryIO) -> _FirstFrame:
    """It begins behind an ID3v2 tag, whose size has 7 bits a byte (ID3v2.3, section 3.1)."""
    start, header = 0, file.read(_ID3_HEADER_BYTES)
    if header[:3] == b"ID3":
        for byte in header[6:]:
            start = start << 7 | byte
        start += _ID3_HEADER_BYTES
    file.seek(start)
    data = bytearray(file.read(_MOST_FRAME_BYTES))
    tag = next((at for word in (b"Info", b"Xing") if (at := data.find(word)) > 0), None)
    return _FirstFrame(start, data, tag)


def _crc16(data: bytes | bytearray) -> int:
    """CRC-16 with the polynomial 0x8005, lowest bit first, from zero."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc
