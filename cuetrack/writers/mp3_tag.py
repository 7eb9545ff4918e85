"""The tag in the first frame of an MP3 that tells how much of its start and its end is no sound.

LAME's extension of the Xing tag (The LAME project, "Mp3 Info Tag revision 1"): 120 bytes of Xing tag,
then 21 bytes on, 12 bits of encoder delay and 12 of padding; a CRC of all before it ends the tag. ffmpeg
tells the padding wrongly where its last packet is short, and a player would play up to a frame too much.
"""

from __future__ import annotations

import struct
from pathlib import Path

_XING_BYTES, _DELAY_AT, _CRC_AT = 120, 21, 34
_FRAMES_AT = 8
# Samples in a frame: ISO/IEC 11172-3 (32,000 Hz and up), ISO/IEC 13818-3 (below).
_FRAME_SAMPLES, _LOW_RATE_FRAME_SAMPLES, _LOW_RATE_BELOW_HZ = 1152, 576, 32_000
# Far more than an ID3 tag without a picture and one frame.
_HEAD_BYTES = 16_384


def set_mp3_length(path: Path, rate_hz: int, frames: int) -> None:
    """Makes a whole MP3, without an ID3 tag so far, say that it holds `frames`.

    Raises:
        ValueError: there is no such tag, or no padding that fits; only an unknown encoder does that.
        OSError: the file cannot be written.
    """
    with path.open("r+b") as file:
        head = bytearray(file.read(_HEAD_BYTES))
        start = _frame_start(head)
        tag = next((at for word in (b"Info", b"Xing") if (at := head.find(word, start)) > 0), -1)
        if tag < 0:
            raise ValueError("this MP3 has no tag that tells its length")
        mp3_frames = struct.unpack(">I", head[tag + _FRAMES_AT : tag + _FRAMES_AT + 4])[0]
        samples = _LOW_RATE_FRAME_SAMPLES if rate_hz < _LOW_RATE_BELOW_HZ else _FRAME_SAMPLES
        at = tag + _XING_BYTES + _DELAY_AT
        delay = int.from_bytes(head[at : at + 3], "big") >> 12
        padding = mp3_frames * samples - delay - frames
        if not 0 <= padding < 1 << 12:
            raise ValueError(f"an MP3 of {mp3_frames} frames cannot hold {frames} samples")
        head[at : at + 3] = (delay << 12 | padding).to_bytes(3, "big")
        crc_at = tag + _XING_BYTES + _CRC_AT
        head[crc_at : crc_at + 2] = _crc16(head[start:crc_at]).to_bytes(2, "big")
        file.seek(at)
        file.write(head[at : crc_at + 2])


def _frame_start(head: bytes | bytearray) -> int:
    """Where the first frame begins: behind an ID3v2 tag, whose size has 7 bits a byte (ID3v2.3, 3.1)."""
    if head[:3] != b"ID3":
        return 0
    size = 0
    for byte in head[6:10]:
        size = size << 7 | byte
    return 10 + size


def _crc16(data: bytes | bytearray) -> int:
    """CRC-16 with the polynomial 0x8005, lowest bit first, from zero."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc
