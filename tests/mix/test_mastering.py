"""What mastering says of a mix against what is written, as our meter and pyloudnorm read it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyloudnorm
import pytest

from cuetrack import build
from cuetrack.mix.mastering import MOST_MADE_UP_DB, mastered, measured
from cuetrack.mix.peaks import PEAK_STEPS_PER_SECOND, StepPeaks
from cuetrack.sound.units import linear_to_db

RATE_HZ = 48_000
PLAN = """
session: Quay levels
voice: system
bed: {pulse: 126 bpm, mood: strong}
parts:
  - part: Circuit
    rest: 20s
    steps:
      - {move: Band row, work: 40s, setup: Sit tall on the edge of the bench and hold the band., sides: both}
      - {move: Press, work: 40s, calls: {start: {by: both}, finish: {count: 5, by: voice}}}
"""


@pytest.fixture(scope="module")
def mixes(tmp_path_factory: pytest.TempPathFactory):
    plan = tmp_path_factory.mktemp("levels") / "plan.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    names = ("class", "ear", "film")
    known = build.compile_plan(Path(plan), mixes=names)
    arrangement, sounds = build.sounded(known, RATE_HZ)
    balanced = build.balanced_mixes(known, arrangement, sounds, names, 2)
    return {one.mix.name: one.programme for one in balanced}


def _written(programme, gain_db):
    samples = np.concatenate(list(mastered(programme, gain_db)))
    return samples if samples.shape[1] == 2 else np.repeat(samples, 2, axis=1)


@pytest.mark.parametrize("name", ["class", "ear", "film"])
@pytest.mark.parametrize("target_lufs", [-23.0, -16.0, -12.0])
def test_what_is_told_is_what_is_written(mixes, name, target_lufs):
    """Within 0.1 LU, the tolerance of EBU Tech 3341, read by pyloudnorm (0.06 LU low on steady signals)."""
    loudness = measured(mixes[name], target_lufs)
    samples = _written(mixes[name], loudness.gain_db)
    read_lufs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(samples.astype(np.float64))
    assert read_lufs == pytest.approx(loudness.mastered_lufs, abs=0.1 + 0.06)
    assert loudness.misses_target == (loudness.mastered_lufs < target_lufs - 0.1)
    if not loudness.misses_target:
        assert loudness.mastered_lufs == pytest.approx(target_lufs, abs=0.1)


def test_a_target_that_peaks_forbid_is_told(mixes):
    loudness = measured(mixes["ear"], -6.0)
    assert loudness.misses_target
    plain_db = -6.0 - loudness.integrated_lufs
    assert loudness.gain_db == pytest.approx(plain_db + MOST_MADE_UP_DB, abs=0.01)
    read_lufs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(_written(mixes["ear"], loudness.gain_db))
    assert read_lufs < -6.1


def test_where_no_peak_is_held_down_the_gain_is_the_plain_one(mixes):
    loudness = measured(mixes["class"], -30.0)
    assert loudness.gain_db == -30.0 - loudness.integrated_lufs
    assert loudness.mastered_lufs == pytest.approx(-30.0, abs=1e-9)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000])
@pytest.mark.parametrize("block_frames", [1, 333, 4096])
def test_peaks_of_steps_do_not_depend_on_the_blocks(rate_hz, block_frames):
    samples = np.random.default_rng(3).uniform(-1, 1, (rate_hz // 8, 2)).astype(np.float32)
    peaks = StepPeaks(rate_hz)
    for start in range(0, len(samples), block_frames):
        peaks.add(samples[start : start + block_frames])
    steps = np.arange(len(samples)) * PEAK_STEPS_PER_SECOND // rate_hz
    by_hand = [np.abs(samples[steps == step]).max() for step in range(steps[-1] + 1)]
    assert np.array_equal(peaks.found(), np.array(by_hand, np.float32))
    assert linear_to_db(float(peaks.found().max())) <= 0
