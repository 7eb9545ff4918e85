"""A sound file that has been written → its tags, the same bytes in every run, or why it could not be.

Ogg pages: RFC 3533, section 6.
"""

from __future__ import annotations

import errno
import os
import zlib
from pathlib import Path
from typing import BinaryIO

from cuetrack.writers.formats import AudioFormat, Encoding
from cuetrack.writers.tags import Tags, write_tags
from cuetrack.writers.wav import clear_peak_date

# More than a file system gives to a file that is full.
_PROBE_BYTES = 16_384


def failure_of(path: Path, what: str) -> OSError:
    """Why a write failed: libsndfile says only that it did, so the system is asked again."""
    try:
        with path.open("ab") as file:
            file.write(bytes(_PROBE_BYTES))
    except OSError as error:
        return OSError(error.errno, os.strerror(error.errno or errno.EIO), str(path))
    return OSError(errno.EIO, what, str(path))


def finish(path: Path, audio_format: AudioFormat, encoding: Encoding, tags: Tags) -> None:
    """Gives a whole file, in place, its tags, and takes out what would differ in another run.

    Raises:
        OSError, mutagen.MutagenError: the disk is full.
    """
    if audio_format.container == "WAV":
        clear_peak_date(path)
    write_tags(path, audio_format.container, encoding.subtype, tags)
    if audio_format.container == "OGG":
        # Sessions joined end to end need serials that differ (RFC 3533, section 4).
        with path.open("r+b") as file:
            _set_ogg_serial(file, zlib.crc32(tags.title.encode()))


def _set_ogg_serial(file: BinaryIO, serial: int) -> None:
    """Gives every page the same serial, and the checksum that goes with it.

    libsndfile draws a serial by lot, and ffmpeg gives the same one to every file.
    """
    from mutagen.ogg import OggPage

    file.seek(0, 2)
    length = file.tell()
    position = 0
    while position < length:
        file.seek(position)
        page = OggPage(file)
        page.serial = serial
        file.seek(position)
        position += file.write(page.write())
