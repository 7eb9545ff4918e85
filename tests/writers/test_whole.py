"""What is told to be whole, and that nothing is said on the way."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from mutagen import MutagenError

from cuetrack.writers import audio
from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import AUDIO_FORMATS
from cuetrack.writers.tags import Tags
from cuetrack.writers.whole import is_whole


def written(path, frames=300_000, rate_hz=48_000, channels=2):
    samples = np.random.default_rng(3).normal(0, 0.1, (frames, 1)).astype(np.float32)
    write_audio(
        path,
        [samples],
        rate_hz=rate_hz,
        channels=channels,
        frames=frames,
        audio_format=AUDIO_FORMATS[path.suffix],
        tags=Tags("Quay"),
    )
    return path


@pytest.mark.parametrize("ending", [".flac", ".mp3", ".m4a", ".ogg", ".opus"])
@pytest.mark.parametrize("lost", [1, 2, 100, 500])
def test_a_file_that_lost_its_last_bytes_is_not_whole(tmp_path, ending, lost):
    path, audio_format = written(tmp_path / f"quay{ending}"), AUDIO_FORMATS[ending]
    assert is_whole(path, 300_000, audio_format, 48_000)
    path.write_bytes(path.read_bytes()[:-lost])
    try:
        assert not is_whole(path, 300_000, audio_format, 48_000)
    except (soundfile.SoundFileError, MutagenError):
        assert ending in {".flac", ".m4a"}


@pytest.mark.parametrize("ending", [".wav", ".mp3"])
def test_a_file_of_another_length_is_not_whole(tmp_path, ending):
    path, audio_format = written(tmp_path / f"quay{ending}"), AUDIO_FORMATS[ending]
    found = [is_whole(path, frames, audio_format, 48_000) for frames in (299_999, 300_000, 300_001)]
    assert found == [False, True, False]


def test_an_m4a_may_play_a_packet_more_but_never_less(tmp_path):
    path, m4a = written(tmp_path / "quay.m4a"), AUDIO_FORMATS[".m4a"]
    assert is_whole(path, 300_000, m4a, 48_000)
    assert not is_whole(path, 302_000, m4a, 48_000)


def test_an_mp3_without_its_tag_is_not_whole(tmp_path):
    path, mp3 = written(tmp_path / "quay.mp3"), AUDIO_FORMATS[".mp3"]
    path.write_bytes(path.read_bytes().replace(b"Info", b"info", 1))
    assert not is_whole(path, soundfile.info(path).frames, mp3, 48_000)


@pytest.mark.parametrize("by_libsndfile", [False, True])
@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 22_050])
def test_an_mp3_is_written_without_a_word(tmp_path, monkeypatch, capfd, rate_hz, by_libsndfile):
    """Noise fills every frame, and at low rates the last one borrows from many before it."""
    if by_libsndfile:
        monkeypatch.setattr(audio, "has_encoder", lambda audio_format: False)
    written(tmp_path / "quay.mp3", frames=4 * rate_hz + 17, rate_hz=rate_hz, channels=1)
    assert capfd.readouterr() == ("", "")
