"""What mastering says of a mix against what is written, as our meter and pyloudnorm read it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray

from cuetrack import build
from cuetrack.build_mixes import Balanced
from cuetrack.conform.arrangement import Arrangement
from cuetrack.mix.mastering import MOST_GAIN_DB, MOST_TAKEN_LU, mastered, measured
from cuetrack.mix.peaks import PEAK_STEPS_PER_SECOND, StepPeaks, limiter_gains
from cuetrack.mix.programme import Programme
from cuetrack.sound.meter import LoudnessMeter
from tests.helpers.signals import blocks_of, programme_material

RATE_HZ = 48_000
# EBU Tech 3341 grants a meter so much; pyloudnorm reads steady signals 0.06 LU low.
TOLERANCE_LU, READ_LOW_LU = 0.1, 0.06
NAMES = ("class", "ear", "film")
PLAN = """
session: Quay levels
voice: system
bed: {pulse: 126 bpm, mood: strong}
parts:
  - part: Circuit
    rest: 12s
    steps:
      - {move: Band row, work: 20s, setup: Sit tall on the edge of the bench and hold the band., sides: both}
      - {move: Press, work: 20s, calls: {start: {by: both}, finish: {count: 5, by: voice}}}
"""


@pytest.fixture(scope="module")
def mixes(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Balanced]:
    plan = tmp_path_factory.mktemp("levels") / "plan.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    known = build.compile_plan(Path(plan), mixes=NAMES)
    arrangement, sounds = build.sounded(known, RATE_HZ)
    return {one.mix.name: one for one in build.balanced_mixes(known, arrangement, sounds, NAMES, 2)}


def of_samples(mixes: Mapping[str, Balanced], samples: NDArray[np.float32], rate_hz: int) -> Programme:
    """A programme that is nothing but a bed of these samples, shape (frames, 2)."""
    known: Arrangement = mixes["film"].programme.arrangement
    bare = replace(known, placed=(), rate_hz=rate_hz, frames=len(samples))
    return Programme(bare, {}, 2, lambda: iter(blocks_of(samples, 65_536)))


def written(programme: Programme, gain_db: float) -> NDArray[np.float32]:
    samples = np.concatenate(list(mastered(programme, gain_db)))
    return samples if samples.shape[1] == 2 else np.repeat(samples, 2, axis=1)


def read_lufs(samples: NDArray[np.float32], rate_hz: int = RATE_HZ) -> float:
    meter = LoudnessMeter(rate_hz, [1.0, 1.0])
    meter.add(samples)
    return meter.integrated_lufs()


def read_elsewhere_lufs(samples: NDArray[np.float32], rate_hz: int = RATE_HZ) -> float:
    return float(pyloudnorm.Meter(rate_hz).integrated_loudness(samples.astype(np.float64)))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("target_lufs", [-23.0, -16.0, -12.0, -9.0])
def test_what_is_told_is_what_is_written(
    mixes: Mapping[str, Balanced], name: str, target_lufs: float
) -> None:
    programme = mixes[name].programme
    loudness = measured(programme, target_lufs)
    samples = written(programme, loudness.gain_db)
    assert read_lufs(samples) == pytest.approx(loudness.mastered_lufs, abs=TOLERANCE_LU)
    assert read_elsewhere_lufs(samples) == pytest.approx(
        loudness.mastered_lufs, abs=TOLERANCE_LU + READ_LOW_LU
    )
    if not loudness.misses_target:
        assert loudness.mastered_lufs == pytest.approx(target_lufs, abs=0.005)


def test_some_of_these_targets_need_the_limiter_and_all_usual_ones_are_met(
    mixes: Mapping[str, Balanced],
) -> None:
    """Without it, the test above would say little."""
    loudness = measured(mixes["ear"].programme, -16.0)
    plain = written(mixes["ear"].programme, -16.0 - loudness.integrated_lufs)
    assert read_lufs(plain) < -16.1
    assert read_lufs(written(mixes["ear"].programme, loudness.gain_db)) == pytest.approx(-16.0, abs=0.03)
    assert not any(one.loudness.misses_target for one in mixes.values())


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 96_000])
@pytest.mark.parametrize("gain_wanted_db", [9.0, 13.0, 16.0])
def test_what_is_told_is_what_is_written_at_other_rates(
    mixes: Mapping[str, Balanced], rate_hz: int, gain_wanted_db: float
) -> None:
    programme = of_samples(mixes, programme_material(rate_hz, 8.0), rate_hz)
    plain_lufs = measured(programme, -40.0).integrated_lufs
    loudness = measured(programme, plain_lufs + gain_wanted_db)
    assert loudness.gain_db > gain_wanted_db + 0.01 or loudness.misses_target
    samples = written(programme, loudness.gain_db)
    assert read_lufs(samples, rate_hz) == pytest.approx(loudness.mastered_lufs, abs=TOLERANCE_LU)


@pytest.mark.parametrize("target_lufs", [-9.0, -6.0, -3.0, 0.0])
def test_what_peaks_forbid_is_told_and_the_limiter_takes_no_more_than_is_allowed(
    mixes: Mapping[str, Balanced], target_lufs: float
) -> None:
    """However much is asked for, it comes to the same."""
    loudness = measured(mixes["ear"].programme, target_lufs)
    taken_lu = loudness.integrated_lufs + loudness.gain_db - loudness.mastered_lufs
    assert loudness.misses_target
    assert taken_lu == pytest.approx(MOST_TAKEN_LU, abs=0.01)
    assert loudness.mastered_lufs == pytest.approx(
        measured(mixes["ear"].programme, 0.0).mastered_lufs, abs=0.02
    )


def test_the_target_that_the_warning_names_is_met(mixes: Mapping[str, Balanced]) -> None:
    one = mixes["ear"]
    (note,) = replace(one, loudness=measured(one.programme, -9.0), heard=(), bed_notes=()).notes
    comes_to = measured(one.programme, -9.0).mastered_lufs
    named_lufs = int(np.floor(comes_to))
    assert note.message == (
        f"the ear mix comes to {comes_to:.1f} LUFS, not to -9: its peaks cannot be held down further"
    )
    assert note.hint == f"a target of {named_lufs} LUFS or softer is met"
    assert not measured(one.programme, float(named_lufs)).misses_target


def test_what_is_too_soft_is_told_as_such(mixes: Mapping[str, Balanced]) -> None:
    soft = (programme_material(RATE_HZ, 8.0) * np.float32(10 ** (-30 / 20))).astype(np.float32)
    programme = of_samples(mixes, soft, RATE_HZ)
    loudness = measured(programme, -23.0)
    assert loudness.gain_db == MOST_GAIN_DB
    (note,) = replace(mixes["film"], programme=programme, loudness=loudness, heard=(), bed_notes=()).notes
    comes_to = read_lufs(soft) + MOST_GAIN_DB
    assert note.message == (
        f"the film mix comes to {comes_to:.1f} LUFS, not to -23: "
        "it is so soft that 20 dB, the most that is given, are not enough"
    )


@pytest.mark.parametrize("name", NAMES)
def test_where_no_peak_is_held_down_all_samples_get_the_plain_gain(
    mixes: Mapping[str, Balanced], name: str
) -> None:
    programme = mixes[name].programme
    loudness = measured(programme, -30.0)
    assert loudness.gain_db == -30.0 - loudness.integrated_lufs
    assert loudness.mastered_lufs == pytest.approx(-30.0, abs=1e-9)
    gain = np.float32(10 ** (loudness.gain_db / 20))
    plain = np.concatenate([np.asarray(block) for block in programme.blocks()]) * gain
    assert np.array_equal(written(programme, loudness.gain_db)[:, 0], plain[:, 0])


def test_silence_and_nothing_stay_as_they_are(mixes: Mapping[str, Balanced]) -> None:
    for frames in (0, 1, RATE_HZ):
        loudness = measured(of_samples(mixes, np.zeros((frames, 2), np.float32), RATE_HZ), -16.0)
        assert (loudness.gain_db, loudness.mastered_lufs) == (0.0, -np.inf)
        assert not loudness.misses_target


@pytest.mark.parametrize("frames", [1, 480, 4_000, 19_199, 19_200, 30_000])
def test_a_programme_of_a_moment_is_mastered_too(mixes: Mapping[str, Balanced], frames: int) -> None:
    """Shorter than a window of the meter, it is read whole."""
    click = programme_material(RATE_HZ, 4.0)[1_000 : 1_000 + frames]
    loudness = measured(of_samples(mixes, click, RATE_HZ), -16.0)
    samples = written(of_samples(mixes, click, RATE_HZ), loudness.gain_db)
    # How the limiter's gain lies inside so little is known less well.
    assert read_lufs(samples) == pytest.approx(loudness.mastered_lufs, abs=0.3)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000])
@pytest.mark.parametrize("block_frames", [1, 333, 4096])
@pytest.mark.parametrize("width", [1, 2])
def test_peaks_of_steps_do_not_depend_on_the_blocks(rate_hz: int, block_frames: int, width: int) -> None:
    samples = np.random.default_rng(3).uniform(-1, 1, (rate_hz // 8, width)).astype(np.float32)
    peaks = StepPeaks(rate_hz)
    for block in blocks_of(samples, block_frames):
        peaks.add(block)
    steps = np.arange(len(samples)) * PEAK_STEPS_PER_SECOND // rate_hz
    by_hand = [np.abs(samples[steps == step]).max() for step in range(steps[-1] + 1)]
    assert np.array_equal(peaks.found(), np.array(by_hand, np.float16))


def test_foreseen_gains_have_no_seam() -> None:
    """They are made in pieces of ten minutes, which lie elsewhere if the beginning is cut off."""
    peaks = np.random.default_rng(4).exponential(0.3, 130_000).astype(np.float16)
    gains, later = limiter_gains(peaks, 0.8, 13_000), limiter_gains(peaks[5_000:], 0.8, 12_500)
    assert gains is not None
    assert later is not None
    assert np.array_equal(gains[501:], later[1:])
    assert gains.min() > 0.2
    assert gains.max() == 1.0


def test_foreseen_gains_where_they_can_be_worked_out() -> None:
    """A steady level is held at the ceiling, one peak is lowered alone, and none if none is too high."""
    steady = limiter_gains(np.full(200, 2.0, np.float32), 0.5, 20)
    assert steady == pytest.approx(np.full(20, 0.25))
    single = np.zeros(200, np.float32)
    single[105] = 2.0
    assert limiter_gains(single, 0.5, 20) == pytest.approx(np.where(np.arange(20) == 10, 0.25, 1.0))
    assert limiter_gains(single, 2.0, 20) is None
    assert limiter_gains(single[:0], 2.0, 0) is None
