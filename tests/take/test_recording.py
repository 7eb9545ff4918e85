"""A recording is one channel of what soundfile wrote, and knows what is odd about it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuetrack.errors import SoundError
from cuetrack.take.recording import recorded

RATE_HZ = 22_050
NOISE = np.random.default_rng(2).uniform(-0.5, 0.5, (RATE_HZ, 2))


def write(path: Path, samples: np.ndarray, subtype: str = "FLOAT") -> Path:
    soundfile.write(path, samples, RATE_HZ, subtype=subtype)
    return path


@pytest.mark.parametrize("channels", [1, 2])
def test_the_mean_of_its_channels(tmp_path: Path, channels: int) -> None:
    samples = NOISE[:, :channels]
    with recorded(write(tmp_path / "a.wav", samples)) as heard:
        assert (heard.rate_hz, heard.frames, heard.channels) == (RATE_HZ, RATE_HZ, channels)
        assert heard.seconds == 1
        mean = samples.mean(axis=1)
        assert np.abs(heard.samples.read(0, RATE_HZ) - mean).max() < 1e-7
        assert heard.peak == pytest.approx(np.abs(mean).max())
        assert heard.side_peaks == pytest.approx(np.abs(samples).max(axis=0))
        assert (heard.is_silent, heard.is_cancelled, heard.silent_side, heard.problem) == (
            *(False, False),
            *(None, None),
        )


def test_at_another_rate(tmp_path: Path) -> None:
    with recorded(write(tmp_path / "a.wav", NOISE), 8_000) as heard:
        assert (heard.samples.rate_hz, heard.samples.frames, heard.frames) == (8_000, 8_000, RATE_HZ)


@pytest.mark.parametrize(
    ("sides", "silent", "cancelled", "side"),
    [
        ((0, 0), True, False, None),
        ((1, 0), False, False, "right"),
        ((0, 1), False, False, "left"),
        ((1, -1), False, True, None),
    ],
)
def test_silent_and_inverted_sides(
    tmp_path: Path, sides: tuple[int, int], silent: bool, cancelled: bool, side: str | None
) -> None:
    with recorded(write(tmp_path / "a.wav", NOISE[:, :1] * np.array(sides))) as heard:
        assert (heard.is_silent, heard.is_cancelled, heard.silent_side) == (silent, cancelled, side)


def test_no_frame_at_all(tmp_path: Path) -> None:
    with recorded(write(tmp_path / "a.wav", NOISE[:0])) as heard:
        assert (heard.frames, heard.is_silent) == (0, True)


def test_a_file_that_breaks_off_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    whole = write(tmp_path / "a.flac", np.tile(NOISE, (20, 1)), "PCM_16")
    cut = tmp_path / "cut.flac"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with recorded(cut) as heard:
        assert 0 < heard.frames < 20 * RATE_HZ
        assert heard.problem is not None
        assert "breaks off" in heard.problem


def test_no_sound_at_all(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(b"")
    with pytest.raises(SoundError, match="cannot be read as sound"), recorded(tmp_path / "a.wav"):
        pass
