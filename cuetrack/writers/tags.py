"""What a sound file says about itself: title, artist, comment, picture, chapters, in each format's own way.

ID3v2.3 in MP3 (chapters: ID3v2 Chapter Frame Addendum 1.0), Vorbis comments in FLAC, Ogg Vorbis and Opus
(RFC 9639, section 8.6 and 8.8 for the picture; chapters: Xiph's Chapter Extension), MP4 atoms in M4A, whose
chapters the encoder writes (`chapters_metadata`). A WAV gets its texts as it is written (RIFF INFO), and
where there is a picture an `id3 ` chunk with all of them, as is common practice.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from cuetrack.errors import NamedFileError
from cuetrack.writers.chapters import Chapter
from cuetrack.writers.stamps import stamp_text
from cuetrack.writers.wav import append_chunk

if TYPE_CHECKING:
    from mutagen.id3 import ID3

PictureType = Literal["image/jpeg", "image/png"]


@dataclass(frozen=True, slots=True)
class Tags:
    """Texts are empty where there is nothing to say; a WAV has no place for chapters."""

    title: str
    artist: str = ""
    comment: str = ""
    picture: bytes | None = None
    chapters: tuple[Chapter, ...] = ()

    @property
    def picture_type(self) -> PictureType:
        """What kind of picture it is, by its first bytes."""
        return "image/png" if (self.picture or b"").startswith(PNG_START) else "image/jpeg"


PNG_START, JPEG_START = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
# The length of a FLAC block has 24 bits (RFC 9639, section 8.1); the picture's description is in it, too.
_MOST_PICTURE_BYTES = 2**24 - 2**12
# Addendum 1.0, section 3.1: an offset of all ones is to be ignored.
_NO_OFFSET = 0xFFFFFFFF


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
        id3 = _id3(tags)
        _add_id3_chapters(id3, tags.chapters)
        id3.save(path, v1=0, v2_version=3, padding=lambda info: 0)
        _put_id3_chapters_in_order(path)
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


def _add_id3_chapters(id3: ID3, chapters: Sequence[Chapter]) -> None:
    """A frame a chapter, and a table that has them in order; players go by time, so no byte offsets."""
    from mutagen.id3 import CHAP, CTOC, TIT2, CTOCFlags, Encoding

    names = [f"chapter-{number}" for number in range(1, len(chapters) + 1)]
    for name, chapter in zip(names, chapters, strict=True):
        title = TIT2(encoding=Encoding.UTF16, text=chapter.title)
        times = {"start_time": chapter.start_milliseconds, "end_time": chapter.end_milliseconds}
        ignored = dict.fromkeys(("start_offset", "end_offset"), _NO_OFFSET)
        id3.add(CHAP(element_id=name, sub_frames=[title], **times, **ignored))
    if chapters:
        flags = CTOCFlags.TOP_LEVEL | CTOCFlags.ORDERED
        id3.add(CTOC(element_id="chapters", flags=flags, child_element_ids=names, sub_frames=[]))


def _put_id3_chapters_in_order(path: Path) -> None:
    """Some players go by the order in the file, not by the table; mutagen sorts frames by their size.

    ID3v2.3, section 3.3: a frame has a name, a size of 32 bits, and flags of 16 before its content.
    """
    with path.open("r+b") as file:
        head = file.read(10)
        tag = file.read(sum(byte << shift for byte, shift in zip(head[6:], (21, 14, 7, 0), strict=True)))
        frames, at = [], 0
        while at < len(tag):
            size = 10 + int.from_bytes(tag[at + 4 : at + 8])
            frames.append(tag[at : at + size])
            at += size
        frames.sort(key=_chapter_start_milliseconds)
        file.seek(10)
        file.write(b"".join(frames))


def _chapter_start_milliseconds(frame: bytes) -> int:
    """Where a chapter's frame says that it begins; -1 for any other frame."""
    if not frame.startswith(b"CHAP"):
        return -1
    after_name = frame.index(b"\0", 10) + 1
    return int.from_bytes(frame[after_name : after_name + 4])


def chapters_metadata(chapters: Sequence[Chapter]) -> str:
    """The chapters in ffmpeg's own text format (its manual, "Metadata"), for it to write into a file."""
    lines = [";FFMETADATA1"]
    for chapter in chapters:
        title = re.sub(r"([=;#\\\n])", r"\\\1", chapter.title)
        times = (f"START={chapter.start_milliseconds}", f"END={chapter.end_milliseconds}")
        lines += ["[CHAPTER]", "TIMEBASE=1/1000", *times, f"title={title}"]
    return "\n".join(lines) + "\n"


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
    for number, chapter in enumerate(tags.chapters, 1):
        file[f"CHAPTER{number:03}"] = [stamp_text(chapter.start_milliseconds)]
        file[f"CHAPTER{number:03}NAME"] = [chapter.title]
    file.save(padding=lambda info: 0)
