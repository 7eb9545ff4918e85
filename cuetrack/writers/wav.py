"""The chunks of a whole WAV: what libsndfile writes otherwise in each run, and what it does not write.

RIFF (Multimedia Programming Interface and Data Specifications 1.0): chunks have a name, a length of 32
bits, and are padded to an even one. RF64 (EBU Tech 3306): the file's true length has 64 bits and stands in
its first chunk.
"""

from __future__ import annotations

import struct
from pathlib import Path

_FIRST_CHUNK_AT = 12
_RIFF_LENGTH_AT, _RF64_LENGTH_AT = 4, 20
_HEAD_BYTES = 65_536
# Behind name, length and version.
_PEAK_DATE_AT = 12


def clear_peak_date(path: Path) -> None:
    """Takes the date out of the PEAK chunk, which libsndfile gives to a WAV of floating-point samples.

    With it no two files would have the same bytes. Nothing is done where there is no such chunk.

    Raises:
        OSError: the file cannot be written.
    """
    with path.open("r+b") as file:
        head = file.read(_HEAD_BYTES)
        position = _FIRST_CHUNK_AT
        while position + 8 <= len(head):
            name, length = struct.unpack_from("<4sI", head, position)
            if name == b"PEAK":
                file.seek(position + _PEAK_DATE_AT)
                file.write(bytes(4))
            if name in {b"PEAK", b"data"}:
                return
            position += 8 + length + length % 2


def append_chunk(path: Path, name: bytes, content: bytes) -> None:
    """Adds a chunk behind all others, and tells the file's new length in its head.

    Raises:
        OSError: the file cannot be written.
    """
    with path.open("r+b") as file:
        is_rf64 = file.read(4) == b"RF64"
        file.seek(0, 2)
        file.write(struct.pack("<4sI", name, len(content)) + content + bytes(len(content) % 2))
        length = file.tell() - 8
        file.seek(_RF64_LENGTH_AT if is_rf64 else _RIFF_LENGTH_AT)
        file.write(struct.pack("<Q" if is_rf64 else "<I", length))
