"""The meter against the published signals of EBU Tech 3341 and 3342, pyloudnorm, and ffmpeg's meter.

The signals and their readings are quoted second-hand from EBU Tech 3341 v4, table 1, and EBU Tech 3342.
"""

from __future__ import annotations

from fractions import Fraction
from math import floor, inf

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from cuetrack.sound.loudness import k_weighted_loudness_lufs, k_weighting_at
from cuetrack.sound.meter import LoudnessMeter
from tests.helpers.ffmpeg_meter import ffmpeg_reading
from tests.helpers.signals import Stretch, blocks_of, in_stereo, programme_material, sine_stretches

RATE_HZ = 48_000
RATES_HZ = (22_050, 44_100, 48_000, 96_000, 192_000)
TOLERANCE_LU, RANGE_TOLERANCE_LU = 0.1, 1.0
FRONT = (1.0, 1.0)
# The meter waits for whole seconds, and its steps are 100 ms long.
MATERIAL_SECONDS = 12.34
# What rings on into silence is let go of once it is as soft as that.
FORGOTTEN_LUFS = -300.0


def metered(
    samples: np.ndarray,
    rate_hz: int = RATE_HZ,
    weights: tuple[float, ...] = FRONT,
    block_frames: int = 65_536,
) -> LoudnessMeter:
    meter = LoudnessMeter(rate_hz, weights)
    for block in blocks_of(samples, block_frames):
        meter.add(block)
    return meter


def readings(meter: LoudnessMeter) -> tuple[object, ...]:
    """Everything that a meter says, to be compared bit for bit."""
    series = (meter.momentary_lufs().tobytes(), meter.short_term_lufs().tobytes())
    return (*series, meter.integrated_lufs(), meter.loudness_range_lu())


@pytest.fixture(scope="module")
def material() -> np.ndarray:
    return programme_material(RATE_HZ, MATERIAL_SECONDS)


def test_the_filters_at_48_khz_are_the_printed_ones() -> None:
    """ITU-R BS.1770-4 Annex 1, tables 1 and 2 (second-hand), after the way to analogue and back."""
    shelf, high_pass = k_weighting_at(48_000)
    assert shelf.b == pytest.approx((1.53512485958697, -2.69169618940638, 1.19839281085285), abs=1e-9)
    assert shelf.a == pytest.approx((1.0, -1.69065929318241, 0.73248077421585), abs=1e-9)
    assert high_pass.b == pytest.approx((1.0, -2.0, 1.0), abs=1e-9)
    assert high_pass.a == pytest.approx((1.0, -1.99004745483398, 0.99007225036621), abs=1e-9)


@pytest.mark.parametrize(
    ("rate_hz", "tolerance_db"),
    [(8_000, 0.3), (22_050, 0.05), (44_100, 0.01), (96_000, 0.01), (192_000, 0.01)],
)
def test_the_filters_respond_alike_at_every_rate(rate_hz: int, tolerance_db: float) -> None:
    """Up to 0.45 of the rate and 20 kHz; above, the bilinear transform bends the shelf's flat top little."""
    frequency_hz = np.geomspace(20, min(0.45 * rate_hz, 20_000), 300)

    def response_db(at_hz: int) -> np.ndarray:
        delay = np.exp(-2j * np.pi * frequency_hz / at_hz)
        gain = np.ones_like(delay)
        for section in k_weighting_at(at_hz):
            gain *= np.polyval(section.b[::-1], delay) / np.polyval(section.a[::-1], delay)
        return 20 * np.log10(np.abs(gain))

    assert np.abs(response_db(rate_hz) - response_db(48_000)).max() < tolerance_db


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("weights", "expected_lufs"), [((1.0,), -3.01), ((2.0,), 0.0), (FRONT, 0.0)])
def test_full_scale_997_hz(rate_hz: int, weights: tuple[float, ...], expected_lufs: float) -> None:
    """BS.1770 (from memory; pyloudnorm and ffmpeg measured within 0.05): -3.01 LUFS on one front
    channel, 0.0 on both; one channel that is played on both weighs 2."""
    samples = np.column_stack([sine_stretches([(0.0, 2.0)], rate_hz, 997)] * len(weights))
    meter = metered(samples, rate_hz, weights)
    assert meter.integrated_lufs() == pytest.approx(expected_lufs, abs=TOLERANCE_LU)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("case", "level_dbfs"), [(1, -23.0), (2, -33.0)])
def test_tech_3341_cases_1_and_2(rate_hz: int, case: int, level_dbfs: float) -> None:
    """A steady tone for 20 s: momentary, short-term and integrated loudness are its level."""
    meter = metered(in_stereo(sine_stretches([(level_dbfs, 20.0)], rate_hz)), rate_hz)
    assert meter.momentary_lufs() == pytest.approx(level_dbfs, abs=TOLERANCE_LU)
    assert meter.short_term_lufs() == pytest.approx(level_dbfs, abs=TOLERANCE_LU)
    assert meter.integrated_lufs() == pytest.approx(level_dbfs, abs=TOLERANCE_LU)
    assert (len(meter.momentary_lufs()), len(meter.short_term_lufs())) == (197, 171)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025])
def test_a_low_rate_reads_within_twice_the_tolerance(rate_hz: int) -> None:
    """The standard gives its filters for 48 kHz only; near half the rate the transform bends them."""
    meter = metered(in_stereo(sine_stretches([(-23.0, 5.0)], rate_hz)), rate_hz)
    assert meter.integrated_lufs() == pytest.approx(-23.0, abs=2 * TOLERANCE_LU)


GATED: dict[int, list[Stretch]] = {
    3: [(-36, 10), (-23, 60), (-36, 10)],
    4: [(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)],
    5: [(-26, 20), (-20, 20.1), (-26, 20)],
}


@pytest.mark.parametrize("case", GATED)
def test_tech_3341_cases_3_to_5(case: int) -> None:
    """The gates leave out what is much softer than the rest."""
    meter = metered(in_stereo(sine_stretches(GATED[case], RATE_HZ)))
    assert meter.integrated_lufs() == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_tech_3341_case_6() -> None:
    """Five channels, with the weights of BS.1770-4 table 3 (second-hand)."""
    levels_dbfs = (-28.0, -28.0, -24.0, -30.0, -30.0)
    samples = np.column_stack([sine_stretches([(level, 20.0)], RATE_HZ) for level in levels_dbfs])
    meter = metered(samples, weights=(1.0, 1.0, 1.0, 1.41, 1.41))
    assert meter.integrated_lufs() == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_tech_3341_case_9() -> None:
    """Levels that change within the 3 s of the short-term window: it reads the same at every step."""
    meter = metered(in_stereo(sine_stretches([(-20.0, 1.34), (-30.0, 1.66)] * 5, RATE_HZ)))
    assert len(meter.short_term_lufs()) == 121
    assert meter.short_term_lufs() == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_tech_3341_case_12() -> None:
    """The same for the 0.4 s of the momentary window, after the first second."""
    meter = metered(in_stereo(sine_stretches([(-20.0, 0.18), (-30.0, 0.22)] * 25, RATE_HZ)))
    after_a_second = meter.momentary_lufs()[6:]
    assert len(after_a_second) == 91
    assert after_a_second == pytest.approx(-23.0, abs=TOLERANCE_LU)


RANGES: list[tuple[list[float], float]] = [
    ([-20, -30], 10),
    ([-20, -15], 5),
    ([-40, -20], 20),
    ([-50, -35, -20, -35, -50], 15),
]


@pytest.mark.parametrize(("levels_dbfs", "expected_lu"), RANGES)
def test_tech_3342_ranges(levels_dbfs: list[float], expected_lu: float) -> None:
    """Stretches of 20 s each."""
    meter = metered(in_stereo(sine_stretches([(level, 20.0) for level in levels_dbfs], RATE_HZ)))
    assert meter.loudness_range_lu() == pytest.approx(expected_lu, abs=RANGE_TOLERANCE_LU)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000])
def test_pyloudnorm_agrees_on_programme_material(rate_hz: int) -> None:
    samples = programme_material(rate_hz, 30.0)
    expected_lufs = pyloudnorm.Meter(rate_hz).integrated_loudness(samples.astype(float))
    assert metered(samples, rate_hz).integrated_lufs() == pytest.approx(expected_lufs, abs=TOLERANCE_LU)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_ffmpeg_agrees_on_programme_material(rate_hz: int) -> None:
    """Its integrated loudness and range, and every window of both kinds that is not silent."""
    samples = programme_material(rate_hz, 30.0)
    meter, reading = metered(samples, rate_hz), ffmpeg_reading(samples, rate_hz)
    assert meter.integrated_lufs() == pytest.approx(reading.integrated_lufs, abs=TOLERANCE_LU)
    assert meter.loudness_range_lu() == pytest.approx(reading.range_lu, abs=TOLERANCE_LU)
    # ffmpeg also reports the windows that are not full yet.
    for ours, theirs in (
        (meter.momentary_lufs(), reading.momentary_lufs[3:]),
        (meter.short_term_lufs(), reading.short_term_lufs[29:]),
    ):
        heard = ours > -70
        assert len(ours) == len(theirs)
        assert np.count_nonzero(heard) > 200
        assert ours[heard] == pytest.approx(theirs[heard], abs=TOLERANCE_LU)


def windows_lufs(samples: np.ndarray, rate_hz: int, steps: int) -> np.ndarray:
    """BS.1770-4 Annex 1, equations 1 to 3, the plain way: the whole programme filtered at once.

    Windows of `steps` times 100 ms, which begin and end on the nearest frame.
    """
    weighted = samples.astype(float)
    for section in k_weighting_at(rate_hz):
        weighted = lfilter(section.b, section.a, weighted, axis=0)
    power = np.square(weighted).sum(axis=1)
    full_steps = 10 * len(samples) // rate_hz
    frames = [floor(Fraction(step * rate_hz, 10) + Fraction(1, 2)) for step in range(full_steps + 1)]
    windows = zip(frames, frames[steps:], strict=False)
    return -0.691 + 10 * np.log10([power[start:end].mean() for start, end in windows])


@pytest.mark.parametrize("rate_hz", [11_025, 44_100, 48_000])
def test_the_windows_are_those_of_the_programme_filtered_at_once(rate_hz: int) -> None:
    """With a hum that ends with a second, to ring on into silence."""
    hum = in_stereo(sine_stretches([(-20.0, 2.0), (-inf, 1.0)], rate_hz, 40.0))
    samples = np.concatenate([hum, programme_material(rate_hz, 9.0)[: round(5.5 * rate_hz)]])
    meter = metered(samples, rate_hz)
    for ours, steps in ((meter.momentary_lufs(), 4), (meter.short_term_lufs(), 30)):
        expected = windows_lufs(samples, rate_hz, steps)
        assert len(ours) == len(expected) > 50
        assert ours[20] > -100
        heard = expected > FORGOTTEN_LUFS
        assert ours[heard] == pytest.approx(expected[heard], abs=1e-6)
        assert np.all(ours[~heard] < FORGOTTEN_LUFS)


def test_one_channel_on_both_is_two_channels(material: np.ndarray) -> None:
    mono = material[:, :1]
    doubled, single = metered(np.hstack([mono, mono])), metered(mono, weights=(2.0,))
    assert single.integrated_lufs() == pytest.approx(doubled.integrated_lufs(), abs=1e-9)
    assert single.loudness_range_lu() == pytest.approx(doubled.loudness_range_lu(), abs=1e-9)


def test_a_channel_of_no_weight_is_not_heard(material: np.ndarray) -> None:
    """Low-frequency effects count for nothing."""
    with_effects = np.column_stack([material, material[::-1, 0]])
    meter = metered(with_effects, weights=(1.0, 1.0, 0.0))
    assert meter.integrated_lufs() == pytest.approx(metered(material).integrated_lufs(), abs=1e-9)


@pytest.mark.parametrize("block_frames", [1_023, 4_801, 48_000, 100_003, 1_000_000])
def test_block_size_changes_no_bit(material: np.ndarray, block_frames: int) -> None:
    assert readings(metered(material, block_frames=block_frames)) == readings(metered(material))


@settings(deadline=None, database=None, max_examples=20)
@given(st.lists(st.integers(0, 3_000), max_size=12), st.sampled_from([8_000, 11_025]))
def test_any_blocks_change_no_bit(lengths: list[int], rate_hz: int) -> None:
    """Blocks without a frame and of one frame too, at a rate whose steps are not whole frames."""
    samples = np.random.default_rng(1).normal(0, 0.1, (sum(lengths), 2)).astype(np.float32)
    pieces = np.split(samples, np.cumsum(lengths)[:-1]) if lengths else []
    meter = LoudnessMeter(rate_hz, FRONT)
    for piece in pieces:
        meter.add(piece)
    assert readings(meter) == readings(metered(samples, rate_hz))


def test_a_block_may_be_used_again_once_it_was_added(material: np.ndarray) -> None:
    meter, block = LoudnessMeter(RATE_HZ, FRONT), np.empty((1_000, 2), np.float32)
    for start in range(0, 40_000, 1_000):
        block[:] = material[start : start + 1_000]
        meter.add(block)
    assert readings(meter) == readings(metered(material[:40_000]))


def test_reading_on_the_way_changes_nothing(material: np.ndarray) -> None:
    meter = LoudnessMeter(RATE_HZ, FRONT)
    for block in blocks_of(material, 30_011):
        meter.add(block)
        readings(meter)
    assert readings(meter) == readings(metered(material))


def test_steps_do_not_drift_at_a_rate_they_do_not_divide() -> None:
    """A step of 11,025 Hz is 1102.5 frames: after 20 s there are 200 of them all the same."""
    samples = in_stereo(sine_stretches([(-60.0, 20.0), (-20.0, 1.0)], 11_025))
    momentary_lufs = metered(samples, 11_025).momentary_lufs()
    assert len(momentary_lufs) == 207
    assert momentary_lufs[:197] == pytest.approx(-60.0, abs=TOLERANCE_LU)
    assert momentary_lufs[197] > -30


@pytest.mark.parametrize("frames", [0, 1, 10_000, 5 * RATE_HZ])
def test_silence_is_minus_infinity(frames: int) -> None:
    meter = metered(np.zeros((frames, 2), np.float32))
    assert meter.integrated_lufs() == -inf
    assert meter.loudness_range_lu() == 0.0
    assert np.all(meter.momentary_lufs() == -inf)


def test_silence_between_sounds_is_left_out_and_forgotten() -> None:
    """After the silence a sound reads as it did before it, and the gates leave the silence out."""
    tone = in_stereo(sine_stretches([(-23.0, 10.0)], RATE_HZ))
    silence = np.zeros((60 * RATE_HZ, 2), np.float32)
    meter = metered(np.concatenate([tone, silence, tone]))
    assert meter.integrated_lufs() == pytest.approx(-23.0, abs=TOLERANCE_LU)
    momentary_lufs = meter.momentary_lufs()
    assert momentary_lufs[700:] == pytest.approx(momentary_lufs[:97], abs=1e-9)
    assert np.all(momentary_lufs[150:690] == -inf)


def test_what_is_just_above_the_gate_counts() -> None:
    meter = metered(in_stereo(sine_stretches([(-69.0, 5.0)], RATE_HZ)))
    assert meter.integrated_lufs() == pytest.approx(-69.0, abs=TOLERANCE_LU)


def test_what_never_passes_the_gate_is_minus_infinity() -> None:
    """BS.1770-4: blocks at -70 LUFS or under count for nothing."""
    meter = metered(in_stereo(sine_stretches([(-75.0, 5.0)], RATE_HZ)))
    assert meter.momentary_lufs() == pytest.approx(-75.0, abs=TOLERANCE_LU)
    assert meter.integrated_lufs() == -inf


@pytest.mark.parametrize("frames", [4_800, 14_000, 19_199])
def test_a_programme_shorter_than_a_window_is_taken_whole(frames: int) -> None:
    """As the ungated loudness of a clip, which also counts what rings on behind it."""
    samples = in_stereo(sine_stretches([(-20.0, 1.0)], RATE_HZ)[:frames])
    meter = metered(samples)
    expected_lufs = k_weighted_loudness_lufs(samples, RATE_HZ)
    assert len(meter.momentary_lufs()) == 0
    assert meter.loudness_range_lu() == 0.0
    assert meter.integrated_lufs() == pytest.approx(expected_lufs, abs=0.05)


def test_a_rest_that_fills_no_window_is_left_out() -> None:
    """2.35 s hold 20 momentary windows, and no short-term one."""
    meter = metered(in_stereo(sine_stretches([(-23.0, 2.35)], RATE_HZ)))
    assert (len(meter.momentary_lufs()), len(meter.short_term_lufs())) == (20, 0)
