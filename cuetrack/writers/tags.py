"""What a sound file says about itself: title, artist, comment and a picture, in each format's own way.

ID3v2.3 in MP3, Vorbis comments in FLAC, Ogg Vorbis and Opus (RFC 9639, section 8.6 and 8.8 for the
picture), MP4 atoms in M4A. A WAV gets its texts as it is written and holds no picture.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

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


def write_tags(path: Path, container: str, subtype: str, tags: Tags) -> None:
    """Writes the tags into a whole file; a WAV is left as it is.

    Raises:
        OSError, mutagen.MutagenError: the disk is full.
    """
    if container == "MP3":
        _write_id3(path, tags)
    elif container == "ipod":
        _write_mp4(path, tags)
    elif container in {"FLAC", "OGG"}:
        _write_vorbis_comments(path, container, subtype, tags)


def _write_id3(path: Path, tags: Tags) -> None:
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
    id3.save(path, v1=0, v2_version=3, padding=lambda info: 0)


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
