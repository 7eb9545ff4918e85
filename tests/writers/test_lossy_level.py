"""A lossy file plays as loud as what was written, and does not clip: decoded and measured by ffmpeg.

The bound on loudness is a tenth of EBU R 128's production tolerance; 0 dBFS is where a player clips.
"""

from __future__ import annotations

import subprocess
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import imageio_ffmpeg
import numpy as np
import pytest

from cuetrack import build
from cuetrack.mix.mastering import mastered
from cuetrack.writers import audio
from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import AUDIO_FORMATS, QUALITIES
from cuetrack.writers.tags import Tags
from tests.helpers.ffmpeg_meter import ffmpeg_reading

RATES_HZ = (48_000, 44_100, 22_050)
LOSSY = [ending for ending, one in AUDIO_FORMATS.items() if not one.encodings["good"].pcm_bytes]


def cases():
    """Every format, width and encoder: in every quality at 48,000 Hz, and the smallest at the other rates."""
    for ending in LOSSY:
        for rate_hz in RATES_HZ if ending != ".opus" else (48_000,):
            for quality in QUALITIES if rate_hz == 48_000 else ("small",):
                for channels in (1, 2):
                    for by_libsndfile in (False, True) if ending in {".mp3", ".opus"} else (False,):
                        yield ending, rate_hz, quality, channels, by_libsndfile


PLAN = """
session: Quay
voice: system
slate: on
loudness: -14 LUFS
bed: {pulse: 126 bpm, mood: strong}
parts:
  - part: Circuit
    steps:
      - {move: Band row, work: 8s, calls: {announce: off, start: {count: 3, by: both}, finish: {warn: off}}}
"""


@cache
def programme(rate_hz, channels):
    """A mix as it is mastered, loud enough for the limiter to be at work, a slate on its first frame."""
    with TemporaryDirectory() as folder:
        plan = Path(folder) / "quay.yaml"
        plan.write_text(PLAN, encoding="utf-8")
        known = build.compile_plan(plan)
        arrangement, sounds = build.sounded(known, rate_hz)
        (one,) = build.balanced_mixes(known, arrangement, sounds, ("class",), channels)
        return np.concatenate(list(mastered(one.programme, one.loudness.gain_db)))


@cache
def written_reading(rate_hz, channels):
    return ffmpeg_reading(programme(rate_hz, channels), rate_hz)


def played(path, channels):
    """The file's samples as floats, which are not clipped."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path)]
    command += ["-f", "f32le", "-c:a", "pcm_f32le", "-"]
    data = subprocess.run(command, capture_output=True, check=True).stdout
    return np.frombuffer(data, "<f4").reshape(-1, channels)


def write(path, samples, rate_hz, quality):
    write_audio(
        path,
        [samples],
        rate_hz=rate_hz,
        channels=samples.shape[1],
        frames=len(samples),
        audio_format=AUDIO_FORMATS[path.suffix],
        quality=quality,
        tags=Tags("Quay"),
    )
    return path


@pytest.mark.parametrize(("ending", "rate_hz", "quality", "channels", "by_libsndfile"), tuple(cases()))
def test_it_is_as_loud_as_written_and_under_full_scale(
    tmp_path, monkeypatch, ending, rate_hz, quality, channels, by_libsndfile
):
    if by_libsndfile:
        monkeypatch.setattr(audio, "has_encoder", lambda audio_format: False)
    samples = programme(rate_hz, channels)
    heard = played(write(tmp_path / f"quay{ending}", samples, rate_hz, quality), channels)
    before, after = written_reading(rate_hz, channels), ffmpeg_reading(heard, rate_hz)
    assert before.true_peak_dbtp <= -1
    assert after.integrated_lufs == pytest.approx(before.integrated_lufs, abs=0.1)
    assert after.true_peak_dbtp <= 0


@pytest.mark.parametrize("rate_hz", AUDIO_FORMATS[".mp3"].rates_hz)
@pytest.mark.parametrize("by_libsndfile", [False, True])
def test_a_steady_tone_keeps_its_level_in_an_mp3_at_every_rate(tmp_path, monkeypatch, rate_hz, by_libsndfile):
    """At 256 kbit/s, which LAME leaves as it is from 32,000 Hz on, and does not have below."""
    if by_libsndfile:
        monkeypatch.setattr(audio, "has_encoder", lambda audio_format: False)
    tone = (0.1 * np.sin(2 * np.pi * 997 / rate_hz * np.arange(rate_hz))).astype(np.float32)
    heard = played(write(tmp_path / "quay.mp3", np.column_stack([tone, tone]), rate_hz, "best"), 2)
    steady = slice(rate_hz // 4, rate_hz * 3 // 4)
    change = np.sqrt(np.mean(heard[steady].astype(np.float64) ** 2) / np.mean(tone[steady] ** 2))
    assert 20 * np.log10(change) == pytest.approx(0, abs=0.02)
