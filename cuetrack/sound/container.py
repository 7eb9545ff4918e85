"""The first bytes of a file → whether ffmpeg has to read it, and what ffmpeg calls its container."""

from __future__ import annotations

from pathlib import Path
from typing import IO

# The bytes at an offset, and ffmpeg's name for what starts so.
_CONTAINERS = (
    (4, b"ftyp", "mov"),  # ISO/IEC 14496-12: MP4, M4A, 3GP, QuickTime
    (4, b"moov", "mov"),  # QuickTime from before there was `ftyp`
    (4, b"wide", "mov"),
    (4, b"mdat", "mov"),
    (0, b"\x1a\x45\xdf\xa3", "matroska"),  # RFC 8794: Matroska, WebM
    (8, b"AVI ", "avi"),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "asf"),  # WMA, WMV
    (0, b"wvpk", "wv"),
)
_TS_PACKET_BYTES = 188  # ISO/IEC 13818-1
_ID3_HEADER_BYTES = 10  # ID3v2.4 section 3.1
# In the first frame of an MP3 that tells its length. Without it libsndfile guesses the length from the
# first frame's bit rate, and where that varies it reads too little. Nor can anybody know whether such a file
# was copied whole: what is there is played.
_LENGTH_TAGS = (b"Xing", b"Info", b"VBRI")
_LENGTH_TAG_WITHIN = 48


def ffmpeg_container(path: Path) -> str | None:
    """The name that ffmpeg has for what libsndfile does not read, or not right; None for all else.

    Raises:
        OSError: the file cannot be read.
    """
    with path.open("rb") as file:
        head = file.read(_TS_PACKET_BYTES + 1)
        for offset, magic, container in _CONTAINERS:
            if head[offset : offset + len(magic)] == magic:
                return container
        if head[:1] == head[_TS_PACKET_BYTES:] == b"\x47":
            return "mpegts"
        return _mpeg_audio(_after_tags(file, head))


def _after_tags(file: IO[bytes], head: bytes) -> bytes:
    """The first bytes of a file after its ID3 tag."""
    if head[:3] != b"ID3" or len(head) < _ID3_HEADER_BYTES:
        return head
    size = sum(byte << shift for byte, shift in zip(head[6:10], (21, 14, 7, 0), strict=True))
    file.seek(_ID3_HEADER_BYTES + size)
    return file.read(_LENGTH_TAG_WITHIN)


def _mpeg_audio(head: bytes) -> str | None:
    """What starts with an MPEG frame's twelve set bits: ADTS has layer 00 (ISO/IEC 13818-7), MP3 has not."""
    if len(head) < 2 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return None
    if head[1] & 0xF6 == 0xF0:
        return "aac"
    tells_length = any(tag in head[:_LENGTH_TAG_WITHIN] for tag in _LENGTH_TAGS)
    return None if tells_length else "mp3"
