"""The limiter, judged by an independent meter (ffmpeg's) and by the gain that its output shows."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.mix.limiter import RAMP_SECONDS, limited
from cuetrack.sound.true_peak import true_peak_dbtp
from tests.helpers.ffmpeg_meter import ffmpeg_reading
from tests.helpers.signals import blocks_of, in_stereo, programme_material

RATE_HZ = 48_000
# EBU R 128 v5 (second-hand): at most -1 dBTP, metering tolerance 0.3 dB.
CEILING_DBTP, TOLERANCE_DB = -1.0, 0.3
CEILING = 10 ** (CEILING_DBTP / 20)
RAMP = round(RAMP_SECONDS * RATE_HZ)
# A single sample stands above the ceiling between its neighbours too.
NEAR = 2
# ffmpeg prints its linear peak with three decimals.
PRINTED_DB = 0.006


def after_limiting(
    samples: np.ndarray, *, gain_db: float = 0.0, block_frames: int = 65_536, rate_hz: int = RATE_HZ
) -> np.ndarray:
    blocks = blocks_of(samples, block_frames)
    return np.concatenate(list(limited(blocks, rate_hz, ceiling_dbtp=CEILING_DBTP, gain_db=gain_db)))


def peak_read_elsewhere_dbtp(samples: np.ndarray, rate_hz: int = RATE_HZ) -> float:
    """By ffmpeg, between two silences: it takes a mirror image, not silence, for what was before a start."""
    silence = np.zeros((rate_hz // 5, samples.shape[1]), np.float32)
    return ffmpeg_reading(np.concatenate([silence, samples, silence]), rate_hz).true_peak_dbtp


def soft_noise(frames: int, width: int = 2) -> np.ndarray:
    """So soft that nothing is limited; no sample is zero, so the gain can be read from every one."""
    rng = np.random.default_rng(8)
    return (rng.uniform(0.01, 0.1, (frames, width)) * rng.choice([-1, 1], (frames, width))).astype(np.float32)


def with_single_over(frame: int, frames: int = 40_000, height: float = 2.0) -> np.ndarray:
    samples = soft_noise(frames, 1)
    samples[frame] = height
    return samples


def shown_gain(samples: np.ndarray, result: np.ndarray) -> np.ndarray:
    return result[:, 0].astype(np.float64) / samples[:, 0]


def bursts(rng: np.random.Generator) -> np.ndarray:
    samples = np.zeros(2 * RATE_HZ)
    for start in rng.integers(0, len(samples) - 200, 30):
        samples[start : start + 200] += rng.normal(0, 1, 200) * np.hanning(200)
    return samples


def harsh(kind: str) -> np.ndarray:
    """Two seconds whose peaks lie between the samples, or everywhere, or come out of nothing."""
    rng, time = np.random.default_rng(2), np.arange(2 * RATE_HZ)
    flips = np.where(rng.random(len(time)) < 0.001, -1, 1).cumprod()
    samples = {
        "noise": lambda: rng.normal(0, 0.3, len(time)),
        "0.45 of the rate, from the first frame": lambda: np.sin(2 * np.pi * 0.45 * time + 0.3),
        "a quarter of the rate between its peaks": lambda: np.sin(np.pi / 2 * time + np.pi / 4),
        "bursts": lambda: bursts(rng),
        "square wave": lambda: np.sign(np.sin(2 * np.pi * 441 / RATE_HZ * time) + 1e-9),
        "bass": lambda: np.sin(2 * np.pi * 50 / RATE_HZ * time),
        "half the rate, turned round now and then": lambda: np.where(time % 2, 1, -1) * flips,
    }[kind]()
    return in_stereo((samples / np.abs(samples).max()).astype(np.float32))


HARSH = (
    "noise",
    "0.45 of the rate, from the first frame",
    "a quarter of the rate between its peaks",
    "bursts",
    "square wave",
    "bass",
    "half the rate, turned round now and then",
)


@pytest.mark.parametrize("gain_db", [3.0, 12.0, 20.0])
@pytest.mark.parametrize("kind", HARSH)
def test_another_meter_reads_no_peak_above_the_ceiling(kind: str, gain_db: float) -> None:
    result = after_limiting(harsh(kind), gain_db=gain_db)
    assert peak_read_elsewhere_dbtp(result) <= CEILING_DBTP + PRINTED_DB
    # A ceiling that nothing comes near would pass as well.
    assert true_peak_dbtp(result) == pytest.approx(CEILING_DBTP, abs=0.15)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 96_000, 192_000])
def test_the_ceiling_holds_at_every_rate(rate_hz: int) -> None:
    samples = programme_material(rate_hz, 6.0)
    result = after_limiting(samples, gain_db=18.0, rate_hz=rate_hz)
    assert true_peak_dbtp(samples) + 18 > CEILING_DBTP + 3
    assert peak_read_elsewhere_dbtp(result, rate_hz) <= CEILING_DBTP + PRINTED_DB
    assert result.shape == samples.shape


def test_sixteen_times_oversampling_finds_little_more_in_programme_material() -> None:
    """The tolerance of R 128 is enough for what four times oversampling cannot see."""
    result = after_limiting(programme_material(RATE_HZ, 6.0), gain_db=18.0)
    fine = soxr.resample(result.astype(np.float64), RATE_HZ, 16 * RATE_HZ, quality="VHQ")
    assert 20 * np.log10(np.abs(fine).max()) <= CEILING_DBTP + TOLERANCE_DB


@pytest.mark.parametrize("width", [1, 2])
@pytest.mark.parametrize("gain_db", [-20.0, 0.0, 7.3])
def test_the_gain_is_exact_where_nothing_is_limited(width: int, gain_db: float) -> None:
    samples = soft_noise(100_000, width)
    result = after_limiting(samples, gain_db=gain_db)
    assert result.dtype == np.float32
    assert np.array_equal(result, samples * np.float32(10 ** (gain_db / 20)))


def test_what_touches_the_ceiling_is_left_alone() -> None:
    """A bass note, whose highest samples are its peaks, 0.2 dB under the ceiling."""
    time = np.arange(RATE_HZ) / RATE_HZ
    samples = (0.977 * CEILING * np.sin(2 * np.pi * 50 * time) * np.hanning(RATE_HZ))[:, np.newaxis]
    samples = samples.astype(np.float32)
    assert np.array_equal(after_limiting(samples), samples)


# The limiter works in stretches: in the middle of one, on both sides of a seam, and at the ends.
OVERS = (0, 1, 500, 8_000, 16_383, 16_384, 32_767, 39_999)


@pytest.mark.parametrize("frame", OVERS)
def test_a_single_over_changes_nothing_beyond_its_ramps(frame: int) -> None:
    samples = with_single_over(frame)
    result = after_limiting(samples)
    changed = np.flatnonzero((result != samples)[:, 0])
    first, last = max(0, frame - RAMP), min(len(samples) - 1, frame + RAMP)
    assert first - NEAR <= changed[0]
    assert changed[-1] <= last + NEAR
    assert len(changed) > 0.9 * (last - first)


@pytest.mark.parametrize("frame", OVERS)
def test_a_single_over_is_brought_to_the_ceiling_where_it_stands(frame: int) -> None:
    """No latency, no shorter and no longer programme."""
    samples = with_single_over(frame)
    result = after_limiting(samples)
    assert result.shape == samples.shape
    assert np.abs(result).argmax() == frame
    assert 20 * np.log10(result[frame, 0]) == pytest.approx(CEILING_DBTP, abs=0.15)
    assert peak_read_elsewhere_dbtp(result) <= CEILING_DBTP + PRINTED_DB


@pytest.mark.parametrize("frame", [8_000, 16_383, 16_384])
def test_the_gain_goes_down_before_an_over_and_comes_back_after_it(frame: int) -> None:
    """Both ways within a ramp, without a turn back, and no step steeper than twice the mean."""
    samples = with_single_over(frame)
    gain = shown_gain(samples, after_limiting(samples))
    lowest = gain[frame]
    rounding = 1e-6
    before, after = gain[frame - RAMP - NEAR : frame + 1], gain[frame : frame + RAMP + NEAR + 1]
    assert before[0] == after[-1] == 1.0
    assert np.diff(before).max() < rounding
    assert np.diff(after).min() > -rounding
    assert np.abs(np.diff(gain)).max() <= 2.05 * (1 - lowest) / RAMP + rounding
    # Without corners either: its slope changes as a triangle's mean does, by so little.
    assert np.abs(np.diff(gain, 2)).max() <= 4.1 * (1 - lowest) / RAMP**2 + 2 * rounding


def test_the_gain_is_the_same_wherever_the_over_stands() -> None:
    """Across the seam of two stretches as in the middle of one."""
    near = np.arange(-RAMP, RAMP + 1)
    curves = [
        shown_gain(samples := with_single_over(frame), after_limiting(samples))[frame + near]
        for frame in (8_000, 16_383, 16_384, 17_000)
    ]
    for one, another in pairwise(curves):
        assert one == pytest.approx(another, abs=0.002)


@pytest.mark.parametrize("frequency_hz", [15.0, 31.0, 50.0, 440.0])
def test_a_steady_loud_note_keeps_its_wave(frequency_hz: float) -> None:
    """One steady gain, so no distortion: within its middle it is the note times a number, to 90 dB."""
    time = np.arange(2 * RATE_HZ) / RATE_HZ
    samples = in_stereo((2 * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32))
    middle = slice(RATE_HZ // 2, 3 * RATE_HZ // 2)
    note, result = samples[middle, 0].astype(float), after_limiting(samples)[middle, 0].astype(float)
    gain = np.dot(note, result) / np.dot(note, note)
    left_over_db = 10 * np.log10(np.mean((result - gain * note) ** 2) / np.mean(result**2))
    assert left_over_db < -90
    assert 20 * np.log10(2 * gain) == pytest.approx(CEILING_DBTP, abs=0.15)


def test_silence_stays_silence_while_others_are_limited() -> None:
    """Zeros within a ramp, and a silent channel beside a loud one."""
    samples = soft_noise(60_000)
    samples[:, 1] = 0
    samples[20_000:20_100, 0] = 0
    samples[20_500, 0] = 3.0
    result = after_limiting(samples, gain_db=4.0)
    assert result[20_499, 0] != samples[20_499, 0] * np.float32(10 ** (4 / 20))
    assert np.array_equal(result == 0, samples == 0)


def test_both_channels_get_one_gain() -> None:
    """A picture that wanders to the side at each peak would be worse than the peak."""
    samples = soft_noise(40_000)
    samples[10_000, 0], samples[30_000, 1] = 2.5, -4.0
    result = after_limiting(samples)
    gains = result.astype(np.float64) / samples
    assert gains[:, 0] == pytest.approx(gains[:, 1], abs=1e-6)
    assert gains[10_000].max() < 0.5
    assert gains[30_000].max() < 0.3


@settings(deadline=None, database=None, max_examples=25)
@given(st.lists(st.integers(1, 30_000), min_size=1, max_size=6))
def test_block_size_changes_no_bit(lengths: list[int]) -> None:
    frames = sum(lengths)
    samples = np.tile(harsh("bursts"), (2, 1))[:frames]
    blocks = np.split(samples, np.cumsum(lengths)[:-1])
    result = np.concatenate(list(limited(blocks, RATE_HZ, ceiling_dbtp=CEILING_DBTP, gain_db=6.0)))
    assert result.tobytes() == after_limiting(samples, gain_db=6.0).tobytes()


@pytest.mark.parametrize("block_frames", [1, 997, 16_384, 1_000_000])
def test_blocks_of_one_length_change_no_bit(block_frames: int) -> None:
    samples = harsh("bursts")[:36_000]
    result = after_limiting(samples, gain_db=6.0, block_frames=block_frames)
    assert result.tobytes() == after_limiting(samples, gain_db=6.0).tobytes()


def test_the_blocks_that_came_are_not_written_to() -> None:
    samples = harsh("bursts")
    samples.flags.writeable = False
    before = samples.copy()
    after_limiting(samples, gain_db=6.0)
    assert np.array_equal(samples, before)


@pytest.mark.parametrize("frames", [1, 2, 15, 16, 17, 100, RAMP, 16_383, 16_384, 16_385, 16_400])
def test_programmes_shorter_than_what_it_looks_at(frames: int) -> None:
    samples = np.full((frames, 1), 2.0, np.float32)
    result = after_limiting(samples)
    assert result.shape == samples.shape
    assert peak_read_elsewhere_dbtp(result) <= CEILING_DBTP + PRINTED_DB
    assert true_peak_dbtp(result) == pytest.approx(CEILING_DBTP, abs=0.15)


@pytest.mark.parametrize("seed", [2, 14, 27])
def test_what_rings_before_the_first_frame_and_after_the_last_counts(seed: int) -> None:
    """A sound near half the rate that breaks in or off peaks outside the programme's own frames."""
    rng = np.random.default_rng(seed)
    flips = np.where(rng.random(40_000) < 0.001, -1, 1).cumprod()
    samples = (4.0 * np.where(np.arange(40_000) % 2, 1, -1) * flips)[:, np.newaxis].astype(np.float32)
    result = after_limiting(samples)
    assert true_peak_dbtp(result) <= CEILING_DBTP
    assert peak_read_elsewhere_dbtp(result) <= CEILING_DBTP + PRINTED_DB


def test_silence_and_nothing() -> None:
    silence = np.zeros((50_000, 2), np.float32)
    assert np.array_equal(after_limiting(silence, gain_db=12.0), silence)
    assert list(limited([], RATE_HZ, ceiling_dbtp=CEILING_DBTP)) == []
    assert list(limited([silence[:0]], RATE_HZ, ceiling_dbtp=CEILING_DBTP)) == []


def test_no_more_is_read_ahead_than_it_looks_at() -> None:
    """An endless programme comes out block by block."""
    taken = 0

    def endless():  # type: ignore[no-untyped-def]
        nonlocal taken
        while True:
            taken += 1
            yield np.full((10_000, 1), 1.5, np.float32)

    result = limited(endless(), RATE_HZ, ceiling_dbtp=CEILING_DBTP)
    given_out = sum(len(next(result)) for _ in range(20))
    assert taken * 10_000 - given_out < 60_000
