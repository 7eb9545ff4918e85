"""Tags read back by mutagen's own easy readers and by ffmpeg, in every format."""

from __future__ import annotations

import struct
import subprocess
from io import BytesIO

import imageio_ffmpeg
import mutagen
import numpy as np
import pytest
import soundfile
from mutagen.flac import Picture
from mutagen.id3 import ID3
from mutagen.mp4 import MP4
from mutagen.wave import WAVE

from cuetrack.errors import NamedFileError
from cuetrack.writers.audio import RF64_ABOVE_BYTES, write_audio
from cuetrack.writers.formats import AUDIO_FORMATS
from cuetrack.writers.tags import Tags, read_picture

TAGS = Tags("Quay = wall; é 潮", "Coach # of the quay", "No medical advice.\u2028Stop at pain.")
# A picture of one pixel: PNG (W3C), bytes made by hand from its chunks.
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c489"
    "0000000d49444154789c6360f8cfc00000000301010018dd8db00000000049454e44ae426082"
)
JPEG = b"\xff\xd8\xff\xe0" + bytes(60) + b"\xff\xd9"


def written(path, tags, **options):
    samples = np.random.default_rng(3).uniform(-0.5, 0.5, (50_000, 1)).astype(np.float32)
    audio_format = AUDIO_FORMATS[path.suffix]
    write_audio(
        path,
        [samples],
        rate_hz=48_000,
        channels=2,
        frames=50_000,
        audio_format=audio_format,
        tags=tags,
        **options,
    )
    return path


def by_ffmpeg(path):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path)]
    where = "0:s:0" if path.suffix in {".ogg", ".opus"} else "0"
    command += ["-map_metadata", where, "-f", "ffmetadata", "-"]
    text = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    lines = text.replace("\\=", "=").replace("\\;", ";").replace("\\#", "#").splitlines()
    return {key.lower(): value for key, _, value in (line.partition("=") for line in lines)}


@pytest.mark.parametrize("ending", AUDIO_FORMATS)
def test_ffmpeg_reads_every_text(tmp_path, ending):
    found = by_ffmpeg(written(tmp_path / f"quay{ending}", TAGS))
    assert found["title"].startswith("Quay")
    assert found["artist"] == TAGS.artist
    assert found["comment"].startswith("No medical advice.")


@pytest.mark.parametrize("ending", [".flac", ".ogg", ".opus"])
@pytest.mark.parametrize("picture", [PNG, JPEG])
def test_vorbis_comments_hold_texts_and_the_picture(tmp_path, ending, picture):
    """RFC 9639, section 8.8; in Ogg as base64 in METADATA_BLOCK_PICTURE."""
    tags = Tags(TAGS.title, TAGS.artist, TAGS.comment, picture)
    file = mutagen.File(written(tmp_path / f"quay{ending}", tags))
    assert (file["title"], file["artist"], file["comment"]) == ([tags.title], [tags.artist], [tags.comment])
    if ending == ".flac":
        (found,) = file.pictures
    else:
        import base64

        found = Picture(base64.b64decode(file["metadata_block_picture"][0]))
    kind = "image/png" if picture is PNG else "image/jpeg"
    assert (found.data, found.mime, found.type) == (picture, kind, 3)


def test_id3_holds_texts_and_the_picture(tmp_path):
    id3 = ID3(written(tmp_path / "quay.mp3", Tags(TAGS.title, TAGS.artist, TAGS.comment, PNG)))
    assert (id3.version, str(id3["TIT2"]), str(id3["TPE1"])) == ((2, 3, 0), TAGS.title, TAGS.artist)
    assert str(id3["COMM::und"]) == TAGS.comment
    assert (id3["APIC:"].data, id3["APIC:"].mime) == (PNG, "image/png")


def test_mp4_atoms_hold_texts_and_the_picture(tmp_path):
    file = MP4(written(tmp_path / "quay.m4a", Tags(TAGS.title, TAGS.artist, TAGS.comment, PNG)))
    texts = ("\xa9nam", "\xa9ART", "\xa9cmt")
    assert [file[atom] for atom in texts] == [[TAGS.title], [TAGS.artist], [TAGS.comment]]
    assert bytes(file["covr"][0]) == PNG


def picture_by_ffmpeg(path):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path), "-map", "0:v", "-c", "copy"]
    return subprocess.run([*command, "-f", "data", "-"], capture_output=True, check=True).stdout


@pytest.mark.parametrize("ending", AUDIO_FORMATS)
def test_ffmpeg_finds_the_picture_as_it_was(tmp_path, ending):
    assert picture_by_ffmpeg(written(tmp_path / f"quay{ending}", Tags("Quay", picture=PNG))) == PNG


@pytest.mark.parametrize("picture", [PNG, PNG + b"\0"])
@pytest.mark.parametrize("rf64_above_bytes", [RF64_ABOVE_BYTES, 300_000 + len(PNG) - 1])
def test_a_wav_with_a_picture_has_one_more_chunk_and_lengths_that_agree(tmp_path, picture, rf64_above_bytes):
    """RIFF and RF64 (EBU Tech 3306): the file's length is in the head, chunks are padded to even ones."""
    tags = Tags(TAGS.title, TAGS.artist, TAGS.comment, picture)
    plain = written(tmp_path / "plain.wav", Tags(TAGS.title, TAGS.artist, TAGS.comment))
    path = written(tmp_path / "quay.wav", tags, rf64_above_bytes=rf64_above_bytes)
    content = path.read_bytes()
    if rf64_above_bytes == RF64_ABOVE_BYTES:
        assert content[:4] == b"RIFF"
        assert struct.unpack("<I", content[4:8])[0] + 8 == len(content)
        added = content[plain.stat().st_size :]
        id3 = WAVE(path).tags
    else:
        assert content[:4] == b"RF64"
        assert struct.unpack("<Q", content[20:28])[0] + 8 == len(content)
        added = content[content.index(b"id3 ") :]
        id3 = ID3(BytesIO(added[8:]))
    name, length = struct.unpack("<4sI", added[:8])
    assert (name, length + length % 2) == (b"id3 ", len(added) - 8)
    assert (str(id3["TIT2"]), str(id3["TPE1"])) == (TAGS.title, TAGS.artist)
    assert id3["APIC:"].data == picture
    assert np.array_equal(soundfile.read(path)[0], soundfile.read(plain)[0])


def test_a_picture_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "quay.png"
    for content in (b"", b"GIF89a" + bytes(50), PNG[1:]):
        path.write_bytes(content)
        with pytest.raises(NamedFileError, match=r"^'quay\.png' is no JPEG or PNG picture$") as caught:
            read_picture(path)
        assert caught.value.hint == "save it as one of the two"
    with pytest.raises(NamedFileError, match=r"^'nowhere\.png' cannot be read: No such file"):
        read_picture(tmp_path / "nowhere.png")


@pytest.mark.parametrize("ending", [".wav", ".flac", ".mp3", ".opus"])
def test_the_largest_picture_fits_every_format(tmp_path, ending):
    """The length of a block of FLAC has 24 bits (RFC 9639, section 8.1)."""
    picture = PNG + np.random.default_rng(3).bytes(2**24 - 2**12 - len(PNG))
    path = tmp_path / "quay.png"
    path.write_bytes(picture)
    assert read_picture(path) == picture
    file = written(tmp_path / f"quay{ending}", Tags("Quay", picture=picture))
    assert file.stat().st_size > len(picture)
    assert picture_by_ffmpeg(file) == picture
    path.write_bytes(picture + b"\0")
    with pytest.raises(NamedFileError, match=r"^'quay\.png' is larger than a sound file can hold, 16\.8 MB$"):
        read_picture(path)


@pytest.mark.parametrize("ending", [".mp3", ".m4a"])
def test_a_picture_moves_no_sample(tmp_path, ending):
    """Decoded by ffmpeg with and without one."""
    heard = []
    for name, picture in (("with", PNG), ("without", None)):
        path = written(tmp_path / f"{name}{ending}", Tags("Quay", picture=picture))
        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path), "-map", "0:a"]
        heard.append(subprocess.run([*command, "-f", "s16le", "-"], capture_output=True, check=True).stdout)
    assert len(heard[0]) >= 50_000 * 4
    assert heard[0] == heard[1]
