"""The tag in the first frame of an MP3 that tells how much of its start and its end is no sound.

LAME's extension of the Xing tag (The LAME project, "Mp3 Info Tag revision 1"): 120 bytes of Xing tag, the
encoder's name, and 21 bytes from its start 12 bits of encoder delay and 12 of padding; a CRC of all
before it ends the tag. ffmpeg tells the padding wrongly where its last packet is short, and a player would
play up to a frame too much. It also calls the encoder `Lavf lame` where its output is to be exact, and a
browser that reads the delay after `LAME` and `Lavc` only (Gecko, `FrameParser::VBRHeader::ParseXing`)
would play every cue 1105 samples late.
"""

from __future__ import annotations

import struct
from pathlib import Path

from cuetrack.writers.finish import failure_of

_XING_BYTES, _DELAY_AT, _CRC_AT = 120, 21, 34
_FRAMES_AT = 8
_NAME = b"Lavc lame"
# Samples in a frame: ISO/IEC 11172-3 (32,000 Hz and up), ISO/IEC 13818-3 (below).
_FRAME_SAMPLES, _LOW_RATE_FRAME_SAMPLES, _LOW_RATE_BELOW_HZ = 1152, 576, 32_000
# Far more than an ID3 tag without a picture and one frame.
_HEAD_BYTES = 16_384


def set_mp3_length(path: Path, rate_hz: int, frames: int) -> None:
    """Makes a whole MP3 that ffmpeg wrote, without our ID3 tag so far, say that it holds `frames`.

    Raises:
        OSError: there is no such tag, no padding that fits, or no room to write.
    """
    with path.open("r+b") as file:
        head = bytearray(file.read(_HEAD_BYTES))
        start = _frame_start(head)
        tag = next((at for word in (b"Info", b"Xing") if (at := head.find(word, start)) > 0), -1)
        if tag < 0:
            raise failure_of(path, "the encoder left no tag that tells its length")
        mp3_frames = struct.unpack(">I", head[tag + _FRAMES_AT : tag + _FRAMES_AT + 4])[0]
        samples = _LOW_RATE_FRAME_SAMPLES if rate_hz < _LOW_RATE_BELOW_HZ else _FRAME_SAMPLES
        at = tag + _XING_BYTES + _DELAY_AT
        delay = int.from_bytes(head[at : at + 3], "big") >> 12
        padding = mp3_frames * samples - delay - frames
        if not 0 <= padding < 1 << 12:
            raise failure_of(path, f"the encoder wrote {mp3_frames} frames of MP3 for {frames} samples")
        head[at : at + 3] = (delay << 12 | padding).to_bytes(3, "big")
        name_at = tag + _XING_BYTES
        head[name_at : name_at + len(_NAME)] = _NAME
        crc_at = tag + _XING_BYTES + _CRC_AT
        head[crc_at : crc_at + 2] = _crc16(head[start:crc_at]).to_bytes(2, "big")
        file.seek(name_at)
        file.write(head[name_at : crc_at + 2])


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
