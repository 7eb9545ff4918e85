"""Ogg pages and MP3 tags, read by hand from the standards' own words."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from mutagen.id3 import ID3

from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import AUDIO_FORMATS
from cuetrack.writers.tags import Tags


def written(path, title="Quay", frames=300_000):
    samples = np.random.default_rng(3).uniform(-0.5, 0.5, (frames, 1)).astype(np.float32)
    audio_format = AUDIO_FORMATS[path.suffix]
    write_audio(
        path,
        [samples],
        rate_hz=48_000,
        channels=2,
        frames=frames,
        audio_format=audio_format,
        tags=Tags(title),
    )
    return path


def crc_table():
    """RFC 3533, section 6, field 7: generator 0x04c11db7, no reflection, initial value and xor 0."""
    table = []
    for byte in range(256):
        value = byte << 24
        for _ in range(8):
            value = (value << 1) ^ (0x04C11DB7 if value & 0x8000_0000 else 0)
        table.append(value & 0xFFFF_FFFF)
    return table


def pages_of(content):
    """Each Ogg page: flags, granule position, serial, number, whether its checksum holds, its bytes."""
    table, position, pages = crc_table(), 0, []
    while position < len(content):
        magic, version, flags, granule, serial, number, told, segments = struct.unpack(
            "<4sBBqIIIB", content[position : position + 27]
        )
        assert (magic, version) == (b"OggS", 0)
        body = position + 27 + segments
        end = body + sum(content[position + 27 : body])
        crc = 0
        for byte in content[position : position + 22] + b"\0\0\0\0" + content[position + 26 : end]:
            crc = ((crc << 8) & 0xFFFF_FFFF) ^ table[(crc >> 24) ^ byte]
        pages.append((flags, granule, serial, number, crc == told))
        position = end
    return pages


@pytest.mark.parametrize("ending", [".ogg", ".opus"])
def test_every_ogg_page_has_one_serial_and_a_checksum_that_holds(tmp_path, ending):
    pages = pages_of(written(tmp_path / f"quay{ending}").read_bytes())
    flags, granules, serials, numbers, hold = zip(*pages, strict=True)
    assert len(pages) > 5
    assert len(set(serials)) == 1
    assert numbers == tuple(range(len(pages)))
    assert all(hold)
    # RFC 3533: bit 2 marks the first page, bit 4 the last. RFC 7845, section 4: PCM = granule - pre-skip.
    assert (flags[0] & 2, [flag & 4 for flag in flags].count(4), flags[-1] & 4) == (2, 1, 4)
    pre_skip = 312 if ending == ".opus" else 0
    assert granules[-1] == 300_000 + pre_skip


@pytest.mark.parametrize("ending", [".ogg", ".opus"])
def test_sessions_joined_end_to_end_have_serials_that_differ(tmp_path, ending):
    """RFC 3533, section 4: chained streams need unique serials."""
    serials = {
        pages_of(written(tmp_path / f"quay{ending}", title, 5_000).read_bytes())[0][2]
        for title in ("Quay", "Slipway")
    }
    assert len(serials) == 2


def test_an_mp3_begins_with_an_id3v2_3_title_and_ends_with_sound(tmp_path):
    """ID3 tag version 2.3.0, sections 3.1, 3.3 and 4.2.1; text in UTF-16 with a byte order mark."""
    content = written(tmp_path / "quay.mp3", "Quay é 潮").read_bytes()
    assert content[:6] == b"ID3\x03\x00\x00"
    sizes = content[6:10]
    assert max(sizes) < 128
    length = sizes[0] << 21 | sizes[1] << 14 | sizes[2] << 7 | sizes[3]
    name, size, _ = struct.unpack(">4sIH", content[10:20])
    assert (name, size, content[20]) == (b"TIT2", length - 10, 1)
    assert content[21 : 10 + length].decode("utf-16").rstrip("\0") == "Quay é 潮"
    assert content[10 + length : 12 + length] == b"\xff\xfb"  # MPEG 1 layer III, no CRC
    assert content[-128:-125] != b"TAG"
    assert list(ID3(tmp_path / "quay.mp3")) == ["TIT2"]


def test_an_mp3_is_of_constant_bit_rate_and_tells_its_encoders_delay(tmp_path):
    """LAME's tag: `Info` for a constant rate; 120 bytes on the encoder's name, 21 on delay and padding.

    One widespread browser (Gecko, `FrameParser::VBRHeader::ParseXing`) looks for the delay only after the
    names `LAME` and `Lavc`.
    """
    content = written(tmp_path / "quay.mp3").read_bytes()
    at = content.index(b"Info")
    assert content[at + 120 : at + 124] in {b"LAME", b"Lavc"}
    delay_and_padding = int.from_bytes(content[at + 120 + 21 :][:3], "big")
    delay, padding = delay_and_padding >> 12, delay_and_padding & 0xFFF
    frames = struct.unpack(">I", content[at + 8 : at + 12])[0]
    assert delay == 576
    assert frames * 1152 - delay - padding == 300_000
