"""What a sound file says about itself: title, artist, comment and a picture, in each format's own way.

ID3v2.3 in MP3, Vorbis comments in FLAC, Ogg Vorbis and Opus (RFC 9639, section 8.6 and 8.8 for the
picture), MP4 atoms in M4A. A WAV gets its texts as it is written (RIFF INFO), and where there is a picture
an `id3 ` chunk with all of them, as is common practice.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from cuetrack.errors import NamedFileError
from cuetrack.writers.wav import append_chunk

if TYPE_CHECKING:
    from mutagen.id3 import ID3

PictureType = Literal["image/jpeg", "image/png"]


@dataclass(frozen=True, slots=True)
class Tags:
    """Texts are empty where there is nothing to say."""

    title: str
    artist: str = ""
    comment: str = ""
    picture: bytes | None = None

    @property
    def picture_type(self) -> PictureType:
        """What kind of picture it is, by its first bytes."""
        return "image/png" if (self.picture or b"").startswith(PNG_START) else "image/jpeg"


PNG_START, JPEG_START = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
# The length of a FLAC block has 24 bits (RFC 9639, section 8.1); the picture's description is in it, too.
_MOST_PICTURE_BYTES = 2**24 - 2**12


def read_picture(path: Path) -> bytes:
    """A picture that every format can hold.

    Raises:
        NamedFileError: it is neither JPEG nor PNG, too large, or cannot be read.
    """
    try:
        with path.open("rb") as file:
            picture = file.read(_MOST_PICTURE_BYTES + 1)
    except OSError as error:
        raise NamedFileError(f"{path.name!r} cannot be read: {error.strerror}", "check the file") from error
    if not picture.startswith((PNG_START, JPEG_START)):
        raise NamedFileError(f"{path.name!r} is no JPEG or PNG picture", "save it as one of the two")
    if len(picture) > _MOST_PICTURE_BYTES:
        most = f"{_MOST_PICTURE_BYTES / 1e6:.1f} MB"
        raise NamedFileError(f"{path.name!r} is larger than a sound file can hold, {most}", "make it smaller")
    return picture


def write_tags(path: Path, container: str, subtype: str, tags: Tags) -> None:
    """Writes the tags into a whole file; a WAV has its texts already.

    Raises:
        OSError, mutagen.MutagenError: the disk is full.
    """
    if container == "WAV" and tags.picture:
        append_chunk(path, b"id3 ", _id3_bytes(tags))
    elif container == "MP3":
        _id3(tags).save(path, v1=0, v2_version=3, padding=lambda info: 0)
    elif container == "M4A":
        _write_mp4(path, tags)
    elif container in {"FLAC", "OGG"}:
        _write_vorbis_comments(path, container, subtype, tags)


def _id3_bytes(tags: Tags) -> bytes:
    buffer = BytesIO()
    _id3(tags).save(buffer, v1=0, v2_version=3, padding=lambda info: 0)
    return buffer.getvalue()


def _id3(tags: Tags) -> ID3:
    from mutagen.id3 import APIC, COMM, ID3, TIT2, TPE1, Encoding, PictureType

    id3 = ID3()
    id3.add(TIT2(encoding=Encoding.UTF16, text=tags.title))
    if tags.artist:
        id3.add(TPE1(encoding=Encoding.UTF16, text=tags.artist))
    if tags.comment:
        id3.add(COMM(encoding=Encoding.UTF16, lang="und", desc="", text=tags.comment))
    if tags.picture:
        id3.add(
            APIC(
                encoding=Encoding.LATIN1,
                mime=tags.picture_type,
                type=PictureType.COVER_FRONT,
                data=tags.picture,
            )
        )
    return id3


def _write_mp4(path: Path, tags: Tags) -> None:
    from mutagen.mp4 import MP4, AtomDataType, MP4Cover

    file = MP4(path)
    for atom, text in (("\xa9nam", tags.title), ("\xa9ART", tags.artist), ("\xa9cmt", tags.comment)):
        if text:
            file[atom] = [text]
    if tags.picture:
        kind = AtomDataType.PNG if tags.picture_type == "image/png" else AtomDataType.JPEG
        file["covr"] = [MP4Cover(tags.picture, imageformat=kind)]
    file.save(padding=lambda info: 0)


def _write_vorbis_comments(path: Path, container: str, subtype: str, tags: Tags) -> None:
    from mutagen.flac import FLAC, Picture
    from mutagen.oggopus import OggOpus
    from mutagen.oggvorbis import OggVorbis

    picture = Picture()
    if tags.picture:
        picture.data, picture.mime, picture.type = tags.picture, tags.picture_type, 3
    file: FLAC | OggOpus | OggVorbis
    if container == "FLAC":
        file = FLAC(path)
        if tags.picture:
            file.add_picture(picture)
    else:
        file = OggOpus(path) if subtype == "OPUS" else OggVorbis(path)
        if tags.picture:
            file["METADATA_BLOCK_PICTURE"] = [base64.b64encode(picture.write()).decode()]
    for key, text in (("TITLE", tags.title), ("ARTIST", tags.artist), ("COMMENT", tags.comment)):
        if text:
            file[key] = [text]
    file.save(padding=lambda info: 0)
