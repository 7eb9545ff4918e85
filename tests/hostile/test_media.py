"""Music, clips and pictures whose headers lie: refused by name or played as they are, in bounded memory."""

from __future__ import annotations

import struct
import tracemalloc
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from zlib import crc32

import pytest

from cuetrack.sound.ffmpeg import has_ffmpeg
from tests.hostile.stranger import NEW_FILES, PARTS, Stranger, tune

# By the ending: how libsndfile is told to write it.
FORMATS = {
    ".wav": {},
    ".flac": {},
    ".ogg": {},
    ".mp3": {},
    ".aiff": {},
    ".au": {"format": "AU"},
    ".w64": {"format": "W64"},
    ".caf": {"format": "CAF", "subtype": "PCM_16"},
    ".rf64": {"format": "RF64"},
}
MOST_BYTES = 300_000_000


@cache
def sound(ending: str) -> bytes:
    with TemporaryDirectory() as folder:
        return tune(Path(folder, f"tide{ending}"), 3.0, **FORMATS[ending])


def played_or_refused(stranger: Stranger, name: str, data: bytes) -> str:
    """A bed of these bytes is played, or refused by its name, in bounded memory."""
    (stranger.home / name).write_bytes(data)
    plan = stranger.plan(f"bed: {{file: {name}}}")
    tracemalloc.start()
    try:
        outcome = stranger.run("render", plan, may_write=NEW_FILES)
        assert tracemalloc.get_traced_memory()[1] < MOST_BYTES
    finally:
        tracemalloc.stop()
    if outcome.code:
        assert name in outcome.said
        assert "plan.yaml:5:" in outcome.said
    return outcome.said


@pytest.mark.parametrize("share", [0.001, 0.01, 0.5])
@pytest.mark.parametrize("ending", FORMATS)
def test_a_file_that_breaks_off(stranger: Stranger, ending: str, share: float) -> None:
    data = sound(ending)
    played_or_refused(stranger, f"tide{ending}", data[: max(8, int(len(data) * share))])


@pytest.mark.parametrize("byte", [0x00, 0x7F, 0xFF])
@pytest.mark.parametrize("ending", FORMATS)
def test_a_header_of_one_byte(stranger: Stranger, ending: str, byte: int) -> None:
    """All after the first words of the header, so that it is still taken for what it was."""
    data = sound(ending)
    played_or_refused(stranger, f"tide{ending}", data[:12] + bytes([byte]) * 40 + data[52:])


@pytest.mark.parametrize("ending", FORMATS)
@pytest.mark.parametrize("at", range(12, 44, 4))
def test_a_number_in_the_header_that_is_all_ones(stranger: Stranger, ending: str, at: int) -> None:
    data = sound(ending)
    played_or_refused(stranger, f"tide{ending}", data[:at] + b"\xff\xff\xff\x7f" + data[at + 4 :])


# Of a WAV: where a number stands, and what is put there.
WAV_LIES = {
    "no channels": (22, "<H", 0),
    "many channels": (22, "<H", 65_535),
    "no rate": (24, "<I", 0),
    "an absurd rate": (24, "<I", 2**32 - 1),
    "no alignment": (32, "<H", 0),
    "no bits": (34, "<H", 0),
    "absurd bits": (34, "<H", 65_535),
    "another coding": (20, "<H", 0xFFFE),
    "a coding nobody knows": (20, "<H", 0x1234),
    "a chunk of no length": (16, "<I", 0),
    "a chunk of 4 GB": (16, "<I", 2**32 - 1),
    "sound of no length": (40, "<I", 0),
    "sound of 4 GB": (40, "<I", 2**32 - 1),
    "sound of 2 GB": (40, "<I", 2**31 - 1),
    "a file of no length": (4, "<I", 0),
}


@pytest.mark.parametrize("lie", WAV_LIES)
@pytest.mark.parametrize("ending", [".wav", ".m4a"])
def test_a_wav_that_lies(stranger: Stranger, lie: str, ending: str) -> None:
    at, layout, number = WAV_LIES[lie]
    data = bytearray(sound(".wav"))
    struct.pack_into(layout, data, at, number)
    played_or_refused(stranger, f"tide{ending}", bytes(data))


@pytest.mark.parametrize("frames", [0, 1, 2**32, 2**36 - 1])
@pytest.mark.parametrize("channels", [1, 8])
def test_a_flac_that_claims_a_length(stranger: Stranger, frames: int, channels: int) -> None:
    """RFC 9639, section 8.2: 20 bits of rate, 3 of channels, 5 of depth, 36 of frames."""
    data = bytearray(sound(".flac"))
    described = int.from_bytes(data[18:26], "big")
    described = described >> 44 << 44 | (channels - 1) << 41 | (described & (0x1F << 36)) | frames
    data[18:26] = described.to_bytes(8, "big")
    played_or_refused(stranger, "tide.flac", bytes(data))


@pytest.mark.parametrize("granule", [0, 1, 2**36, 2**62, 2**63, 2**64 - 1])
def test_an_ogg_that_claims_a_length(stranger: Stranger, granule: int) -> None:
    """RFC 3533, section 6: the granule position of the last page says how long it is."""
    data = bytearray(sound(".ogg"))
    page = data.rindex(b"OggS")
    struct.pack_into("<Q", data, page + 6, granule)
    data[page + 22 : page + 26] = bytes(4)
    struct.pack_into("<I", data, page + 22, ogg_sum(bytes(data[page:])))
    played_or_refused(stranger, "tide.ogg", bytes(data))


def ogg_sum(page: bytes) -> int:
    """The check of a page: polynomial 0x04C11DB7, nothing reflected (RFC 3533, section 6)."""
    register = 0
    for byte in page:
        register ^= byte << 24
        for _ in range(8):
            register = (register << 1 ^ (0x04C11DB7 if register & 0x80000000 else 0)) & 0xFFFFFFFF
    return register


def box(kind: bytes, body: bytes = b"", size: int | None = None) -> bytes:
    return struct.pack(">I4s", 8 + len(body) if size is None else size, kind) + body


# Containers that go through ffmpeg (MP4: ISO/IEC 14496-12; Matroska: RFC 8794).
CONTAINERS = {
    "an MP4 of boxes without length": box(b"ftyp", b"M4A ") + box(b"moov", size=0) + bytes(500),
    "an MP4 of a box of 4 GB": box(b"ftyp", b"M4A ") + box(b"moov", b"x" * 50, 2**32 - 1),
    "an MP4 of a box of 16 EB": box(b"ftyp", b"M4A ") + box(b"moov", b"\xff" * 8, 1) + bytes(99),
    "an MP4 of boxes in boxes": box(b"ftyp", b"M4A ")
    + b"".join(box(b"moov", size=90_000 - 8 * n) for n in range(9_000)),
    "an MP4 of many tracks": box(b"ftyp", b"M4A ") + box(b"moov", box(b"trak", box(b"mdia")) * 20_000),
    "an MP4 of a table of 4 billion": box(b"ftyp", b"M4A ")
    + box(
        b"moov", box(b"trak", box(b"mdia", box(b"minf", box(b"stbl", box(b"stsz", bytes(8) + b"\xff" * 4)))))
    ),
    "an MP4 of a compressed index": box(b"ftyp", b"M4A ")
    + box(
        b"moov",
        box(b"cmov", box(b"dcom", b"zlib") + box(b"cmvd", b"\xff\xff\xff\xf0" + b"x\x9c" + bytes(99))),
    ),
    "a Matroska of unknown length": b"\x1a\x45\xdf\xa3\x01" + b"\xff" * 7 + bytes(99),
    "a Matroska of elements in elements": b"\x1a\x45\xdf\xa3\x80\x18\x53\x80\x67\x01"
    + b"\xff" * 7
    + b"\x12\x54\xc3\x67\x01\xff\xff\xff\xff\xff\xff\xff" * 4_000,
    "a Matroska with an attachment of 1 TB": b"\x1a\x45\xdf\xa3\x80\x18\x53\x80\x67\x01"
    + b"\xff" * 7
    + b"\x19\x41\xa4\x69\x88\x61\xa7\x85\x46\x5c\x01\0\1\0\0\0\0\0",
    "an AVI of lists in lists": b"RIFF\xff\xff\xff\x7fAVI " + b"LIST\xff\xff\xff\x7fhdrl" * 5_000,
    "an ASF of no length": bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c") + bytes(200),
    "an ASF of 16 EB": bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c") + b"\xff" * 200,
    "a WavPack of absurd blocks": b"wvpk" + b"\xff" * 400,
    "a transport stream of nothing": (b"\x47" + b"\xff" * 187) * 300,
    "raw AAC of nothing": b"\xff\xf1" + b"\x50\x80\x00\x1f\xfc" * 900,
    "MPEG frames of nothing": b"\xff\xfb\x90\x00" * 9_000,
    "an ID3 tag of 256 MB": b"ID3\4\0\0\x7f\x7f\x7f\x7f" + bytes(99),
    "ID3 tags behind ID3 tags": b"ID3\4\0\0\0\0\0\0" * 5_000,
}


@pytest.mark.skipif(not has_ffmpeg(), reason="needs ffmpeg")
@pytest.mark.parametrize("name", CONTAINERS)
def test_a_container_that_lies(stranger: Stranger, name: str) -> None:
    said = played_or_refused(stranger, "tide.m4a", CONTAINERS[name])
    assert "tide.m4a" in said


@pytest.mark.parametrize("lie", WAV_LIES)
def test_a_clip_that_lies(stranger: Stranger, lie: str) -> None:
    at, layout, number = WAV_LIES[lie]
    data = bytearray(tune(stranger.home / "clips" / "row.wav", 0.5))
    struct.pack_into(layout, data, at, number)
    (stranger.home / "clips" / "row.wav").write_bytes(data)
    parts = PARTS.replace("work: 2s", "work: 2s, cues: [{at: 0s, say: Row.}]")
    outcome = stranger.run("render", stranger.plan("voice: ./clips", parts), may_write=NEW_FILES)
    assert not outcome.code or "row.wav" in outcome.said or "Row." in outcome.said


def png(width: int, height: int, data: bytes = b"") -> bytes:
    """A PNG that says it has this size (W3C PNG, section 11.2.1)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def jpeg(width: int, height: int) -> bytes:
    """The beginning of a JPEG that says it has this size (ITU-T T.81, B.2.2)."""
    frame = struct.pack(">HBHHB", 17, 8, height, width, 3) + bytes.fromhex("011100021101031101")
    return b"\xff\xd8\xff\xc0" + frame + b"\xff\xd9"


PICTURES = {
    "a PNG of 4 gigapixels": png(65_535, 65_535),
    "a PNG of 4 exapixels": png(2**31 - 1, 2**31 - 1),
    "a PNG of no size": png(0, 0),
    "a PNG that breaks off": b"\x89PNG\r\n\x1a\n",
    "a PNG with a chunk of 4 GB": b"\x89PNG\r\n\x1a\n\xff\xff\xff\xffIHDR",
    "a JPEG of 4 gigapixels": jpeg(65_535, 65_535),
    "a JPEG of no size": jpeg(0, 0),
    "a JPEG that breaks off": b"\xff\xd8\xff",
}


@pytest.mark.parametrize("ending", [".wav", ".mp3", ".flac", ".ogg"])
@pytest.mark.parametrize("what", PICTURES)
def test_a_picture_is_carried_and_never_drawn(stranger: Stranger, what: str, ending: str) -> None:
    (stranger.home / "quay.png").write_bytes(PICTURES[what])
    plan = stranger.plan("artwork: quay.png")
    names = frozenset({f"plan{ending}", "plan.timeline.json"})
    stranger.run("render", plan, "-o", stranger.home / f"plan{ending}", may_write=names)
    with_papers = frozenset({*names, "plan.player.html", "plan.index.html"})
    outcome = stranger.run(
        "render", plan, "-o", stranger.home / f"plan{ending}", "--with", "player", may_write=with_papers
    )
    assert outcome.code == 0 or "quay.png" in outcome.said


@pytest.mark.parametrize(
    ("data", "naming"),
    [
        (b"", "no JPEG or PNG"),
        (b"GIF89a", "no JPEG or PNG"),
        (
            b"<svg xmlns='http://www.w3.org/2000/svg'><image href='http://127.0.0.1/'/></svg>",
            "no JPEG or PNG",
        ),
        (b"<?xml version='1.0'?><!DOCTYPE s [<!ENTITY x SYSTEM 'file:///etc/passwd'>]>", "no JPEG or PNG"),
        (b"BM" + bytes(99), "no JPEG or PNG"),
        (b"\xff\xd8\xff" + bytes(17_000_000), "larger than a sound file can hold"),
    ],
    ids=["nothing", "GIF", "SVG", "XML of entities", "BMP", "17 MB"],
)
def test_a_picture_that_is_none(stranger: Stranger, data: bytes, naming: str) -> None:
    (stranger.home / "quay.png").write_bytes(data)
    stranger.refused("check", stranger.plan("artwork: quay.png"), naming=naming)
