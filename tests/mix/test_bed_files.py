"""Music files as a bed has them: how loud they are, their offset, and reading on from any frame."""

from __future__ import annotations

import struct
import tracemalloc

import numpy as np
import pytest
import soundfile

from cuetrack.errors import SoundError
from cuetrack.mix.bed_files import FileReader, measured_file
from cuetrack.sound.decoding import decoded_pieces
from tests.helpers.signals import music, sine

RATE_HZ = 48_000
NO_LIMIT = 1 << 40


@pytest.fixture
def tide(tmp_path):
    """Ten seconds of music in a file."""
    soundfile.write(tmp_path / "tide.wav", music(10), RATE_HZ, subtype="FLOAT")
    return tmp_path / "tide.wav"


def reader(file, rate_hz=RATE_HZ, channels=2, from_frame=0):
    return FileReader(decoded_pieces(file.path, rate_hz, channels), file, from_frame)


def test_loudness_is_that_of_another_meter(tide):
    import pyloudnorm

    found = measured_file(tide, RATE_HZ, 2, NO_LIMIT)
    expected = pyloudnorm.Meter(RATE_HZ).integrated_loudness(soundfile.read(tide)[0])
    assert found.loudness_lufs == pytest.approx(expected, abs=0.1)
    assert found.frames == 10 * RATE_HZ


def test_an_offset_is_taken_away_and_changes_no_loudness(tmp_path):
    samples = music(5) / 30
    soundfile.write(tmp_path / "good.wav", samples, RATE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "offset.wav", samples + np.array([0.5, -0.25]), RATE_HZ, subtype="FLOAT")
    good, offset = (
        measured_file(tmp_path / name, RATE_HZ, 2, NO_LIMIT) for name in ("good.wav", "offset.wav")
    )
    assert good.offset == (0.0, 0.0)
    assert offset.offset == pytest.approx((0.5, -0.25), abs=1e-4)
    assert offset.loudness_lufs == pytest.approx(good.loudness_lufs, abs=0.05)
    heard = reader(offset).read(5 * RATE_HZ)
    assert np.abs(heard.mean(axis=0)).max() < 1e-6
    assert np.abs(heard - samples).max() < 1e-4


def test_only_what_can_be_heard_counts(tmp_path):
    samples = music(9)
    samples[: 3 * RATE_HZ] *= 5
    samples[6 * RATE_HZ :] *= 5
    soundfile.write(tmp_path / "tide.wav", samples, RATE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "middle.wav", samples[3 * RATE_HZ : 6 * RATE_HZ], RATE_HZ, subtype="FLOAT")
    middle = measured_file(tmp_path / "middle.wav", RATE_HZ, 2, NO_LIMIT)
    heard = measured_file(tmp_path / "tide.wav", RATE_HZ, 2, 6 * RATE_HZ, from_frame=3 * RATE_HZ)
    assert heard.frames is None
    assert heard.loudness_lufs == pytest.approx(middle.loudness_lufs, abs=0.1)


def test_a_reader_holds_the_last_frame_and_starts_where_it_is_told(tide):
    whole = soundfile.read(tide, dtype="float32")[0]
    file = measured_file(tide, RATE_HZ, 2, NO_LIMIT)
    one = reader(file, from_frame=100_000)
    assert np.array_equal(one.read(7), whole[100_000:100_007])
    one.skip(300_000)
    rest = one.read(80_000)
    assert np.array_equal(rest[:79_993], whole[400_007:])
    assert np.array_equal(rest[79_993:], np.broadcast_to(whole[-1], (7, 2)))
    one.close()


def test_ten_hours_are_read_in_the_memory_of_two_minutes(tmp_path):
    """Ten hours, silent but for a tone in the last minute, which does not lie on the disk."""
    rate_hz, path = 8_000, tmp_path / "endless.wav"
    frames, tone = 10 * 3600 * rate_hz, (sine(500, 1, rate_hz) * 32_767).astype("<i2")
    header = b"RIFF" + struct.pack("<I", 36 + 2 * frames) + b"WAVEfmt "
    header += struct.pack("<IHHIIHH", 16, 1, 1, rate_hz, 2 * rate_hz, 2, 16) + b"data"
    with path.open("wb") as file:
        file.write(header + struct.pack("<I", 2 * frames))
        file.truncate(44 + 2 * frames)
        file.seek(44 + 2 * (frames - 60 * rate_hz))
        file.write(tone.tobytes())
    tracemalloc.start()
    try:
        file = measured_file(path, rate_hz, 1, 1800 * rate_hz)
        one = reader(file, rate_hz, 1, from_frame=frames - 60 * rate_hz)
        heard = one.read(rate_hz)
        one.close()
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert file.frames is None
    assert np.abs(heard[:, 0] - sine(500, 1, rate_hz)).max() < 1e-4
    assert peak < 120 * rate_hz * 4


def test_a_file_without_a_frame_is_refused(tmp_path):
    soundfile.write(tmp_path / "tide.wav", np.zeros((0, 2), np.float32), RATE_HZ)
    with pytest.raises(SoundError, match=r"^tide\.wav holds no sound; name another file$"):
        measured_file(tmp_path / "tide.wav", RATE_HZ, 2, NO_LIMIT)
