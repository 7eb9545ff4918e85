"""What each format says of its encoder's delay, and what other programs make of it.

Lengths, delays and pre-skip: LAME's info tag, RFC 7845 (Opus), ISO/IEC 14496-12 (edit list), and what
ffmpeg and libsndfile were measured to do with sources of 480,123 and 441,077 samples.
"""

from __future__ import annotations

import re
import struct
import subprocess

import imageio_ffmpeg
import numpy as np
import pytest
import soundfile

from cuetrack.writers import audio
from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import AUDIO_FORMATS
from cuetrack.writers.mp3_tag import _crc16
from cuetrack.writers.tags import Tags
from tests.helpers.decode import decoded

SOURCES = [(480_123, 48_000), (441_077, 44_100)]
BOTH_ENCODERS = pytest.mark.parametrize("by_libsndfile", [False, True])


@pytest.fixture
def written(tmp_path, monkeypatch):
    """Writes noise, in which any offset shows, and gives it back with the file."""

    def write(ending, frames, rate_hz, by_libsndfile=False):
        if by_libsndfile:
            monkeypatch.setattr(audio, "has_encoder", lambda audio_format: False)
        samples = np.random.default_rng(frames).normal(0, 0.1, (frames, 2))
        # Low-passed: codecs keep what is under 5 kHz at any bit rate.
        spectrum = np.fft.rfft(samples, axis=0)
        spectrum[round(5_000 * frames / rate_hz) :] = 0
        samples = np.fft.irfft(spectrum, frames, axis=0).astype(np.float32)
        path = tmp_path / f"quay{ending}"
        write_audio(
            path,
            [samples],
            rate_hz=rate_hz,
            channels=2,
            frames=frames,
            audio_format=AUDIO_FORMATS[ending],
            tags=Tags("Quay"),
        )
        return path, samples

    return write


def offset(heard, samples):
    """By how many samples `heard` lags, by the peak of the cross-correlation of all of it."""
    length = 1 << (len(heard) + len(samples)).bit_length()
    product = np.fft.rfft(heard, length) * np.conj(np.fft.rfft(samples, length))
    lag = int(np.argmax(np.fft.irfft(product)))
    return lag if lag < length // 2 else lag - length


def start_seconds(path):
    """Where the sound starts in the file, as ffmpeg prints it, microseconds cut."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-i", str(path)]
    said = subprocess.run(command, capture_output=True, text=True, check=False).stderr
    return float(re.search(r"start: (\d+\.\d+)", said)[1])


@pytest.mark.parametrize(("frames", "rate_hz"), SOURCES)
@pytest.mark.parametrize("ending", AUDIO_FORMATS)
def test_lengths_and_offsets(written, ending, frames, rate_hz):
    """FLAC, Vorbis, MP3, Opus: exact in ffmpeg and libsndfile. AAC: offset exact, the tail up to a packet."""
    if ending == ".opus":
        rate_hz = 48_000  # the only one it has
    path, samples = written(ending, frames, rate_hz)
    readings = [decoded(path, 2)]
    if ending != ".m4a":
        readings.append(soundfile.read(path)[0])
    for heard in readings:
        assert 0 <= len(heard) - frames < (1_024 if ending == ".m4a" else 1)
        assert [offset(heard[:, channel], samples[:, channel]) for channel in (0, 1)] == [0, 0]


@BOTH_ENCODERS
@pytest.mark.parametrize(("frames", "rate_hz", "padding"), [(480_123, 48_000, 837), (441_077, 44_100, 715)])
def test_an_mp3_tells_its_delay_and_its_padding(written, frames, rate_hz, padding, by_libsndfile):
    """Delay 576; with the 529 of any decoder the sound starts at 1105."""
    path, _ = written(".mp3", frames, rate_hz, by_libsndfile)
    content = path.read_bytes()
    at = content.index(b"Info")
    told = int.from_bytes(content[at + 141 : at + 144], "big")
    assert (told >> 12, told & 0xFFF) == (576, padding)
    assert start_seconds(path) == pytest.approx(1_105 / rate_hz, abs=1e-6)


@BOTH_ENCODERS
def test_the_checksum_of_the_tag_is_lame_s(written, by_libsndfile):
    """LAME's own in a file of libsndfile's, ours in one of ffmpeg's; and the published check value
    of CRC-16/ARC (catalogue of parametrised CRC algorithms, from memory)."""
    path, _ = written(".mp3", 60_000, 48_000, by_libsndfile)
    content = path.read_bytes()
    info = content.index(b"Info")
    frame = content.rindex(b"\xff\xfb", 0, info)
    end = info + 120 + 34
    assert _crc16(content[frame:end]) == int.from_bytes(content[end : end + 2], "big")
    assert _crc16(b"123456789") == 0xBB3D


# Of one sample at 22,050 Hz ffmpeg (5.1 and 7.0, measured) plays 530, though the file tells its length.
@pytest.mark.parametrize("frames", [575, 1_105, 1_152, 47_999, 100_000])
@pytest.mark.parametrize("rate_hz", [48_000, 22_050])
def test_an_mp3_of_any_length_is_as_long(written, frames, rate_hz):
    path, _ = written(".mp3", frames, rate_hz)
    assert soundfile.info(path).frames == frames
    assert len(decoded(path, 2)) == frames


@BOTH_ENCODERS
def test_opus_skips_312_samples_and_ends_on_its_last(written, by_libsndfile):
    """RFC 7845, sections 4 and 5.1: pre-skip at byte 10 of the head; PCM = granule position - pre-skip."""
    path, _ = written(".opus", 480_123, 48_000, by_libsndfile)
    content = path.read_bytes()
    head = content.index(b"OpusHead")
    assert struct.unpack_from("<BBHI", content, head + 8) == (1, 2, 312, 48_000)
    last = content.rindex(b"OggS")
    assert struct.unpack_from("<q", content, last + 6)[0] == 480_123 + 312


@pytest.mark.parametrize(("frames", "rate_hz"), SOURCES)
def test_an_m4a_plays_from_its_1024th_sample_for_as_long_as_it_is(written, frames, rate_hz):
    """ISO/IEC 14496-12, 8.6.6: one edit; its length in the movie's time scale, its start in the sound's."""
    path, _ = written(".m4a", frames, rate_hz)
    content = path.read_bytes()
    version, edits, length, start, rate = struct.unpack_from(">IIIiI", content, content.index(b"elst") + 4)
    assert (version, edits, length, start, rate) == (0, 1, frames, 1_024, 0x10000)
    created, changed, time_scale, whole = struct.unpack_from(">IIII", content, content.index(b"mvhd") + 8)
    assert (created, changed, time_scale, whole) == (0, 0, rate_hz, frames)
    assert content[4:12] == b"ftypM4A "
    assert start_seconds(path) == 0
