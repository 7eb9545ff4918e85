"""Ducking measured on a stem: the bed before and after it, and nothing of our own arithmetic between."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.mix.ducking import CLOSE_SECONDS, DOWN_SECONDS, UP_SECONDS, Duck, DuckCurve

RATE_HZ = 48_000
DOWN, UP, CLOSE = (round(seconds * RATE_HZ) for seconds in (DOWN_SECONDS, UP_SECONDS, CLOSE_SECONDS))
# Phrases of a programme of twelve seconds: one at the very start, two close together, one alone.
FRAMES = 12 * RATE_HZ
PHRASES = (
    Duck(4_801, 60_001, -14.0),
    Duck(160_000, 200_003, -14.0),
    Duck(230_000, 262_144, -20.0),
    Duck(400_007, 450_000, -14.0),
)


def gains(curve: DuckCurve, frames: int, block_frames: int) -> np.ndarray:
    """The gain at every frame, asked for in blocks."""
    blocks = []
    for start in range(0, frames, block_frames):
        length = min(block_frames, frames - start)
        blocks.append(np.broadcast_to(np.float32(curve.gain(start, length)), length))
    return np.concatenate(blocks)


def db(gain: np.ndarray) -> np.ndarray:
    return 20 * np.log10(gain.astype(np.float64))


def largest(differences_db: np.ndarray) -> float:
    return float(np.abs(differences_db).max())


@pytest.fixture(scope="module")
def bed() -> np.ndarray:
    """Noise of which no sample is zero: a gain can be read from every one."""
    rng = np.random.default_rng(29)
    return (rng.uniform(0.01, 0.5, FRAMES) * rng.choice([-1, 1], FRAMES)).astype(np.float32)


@pytest.fixture(scope="module")
def ducked(bed: np.ndarray) -> np.ndarray:
    return bed * gains(DuckCurve(PHRASES, RATE_HZ), FRAMES, 65_536)


@pytest.mark.parametrize("phrase", PHRASES)
def test_its_depth_is_reached_at_every_sample_of_speech(
    bed: np.ndarray, ducked: np.ndarray, phrase: Duck
) -> None:
    spoken = slice(phrase.start_frame, phrase.end_frame)
    assert largest(db(ducked[spoken] / bed[spoken]) - phrase.gain_db) < 1e-5


def test_no_sample_elsewhere_is_changed(bed: np.ndarray, ducked: np.ndarray) -> None:
    """Elsewhere: outside speech, its ramps, and the gap of 0.6 s between the two that are close."""
    elsewhere = np.ones(FRAMES, bool)
    for start, end in ((4_801, 60_001), (160_000, 262_144), (400_007, 450_000)):
        elsewhere[max(0, start - DOWN + 1) : end + UP] = False
    assert elsewhere.sum() > FRAMES / 3
    assert ducked[elsewhere].tobytes() == bed[elsewhere].tobytes()
    # One sample further in and it is changed, so the ramps begin and end where they are said to.
    edges = [160_000 - DOWN + 1, 450_000 + UP - 1]
    assert (ducked[edges] != bed[edges]).all()


def test_the_bed_comes_no_higher_between_close_phrases(bed: np.ndarray, ducked: np.ndarray) -> None:
    """-14 dB goes on until the way down to -20 dB; nothing pumps."""
    gap = slice(200_003, 230_000)
    gap_db = db(ducked[gap] / bed[gap])
    assert gap_db.max() < -14 + 1e-5
    assert np.diff(gap_db).max() < 1e-4


@pytest.mark.parametrize("phrase", [PHRASES[1], PHRASES[3]])
def test_the_way_down_is_even_in_db_and_ends_as_speech_begins(
    bed: np.ndarray, ducked: np.ndarray, phrase: Duck
) -> None:
    start = phrase.start_frame
    ramp = slice(start - DOWN, start + 1)
    expected_db = np.linspace(0.0, phrase.gain_db, DOWN + 1)
    assert largest(db(ducked[ramp] / bed[ramp]) - expected_db) < 1e-4


@pytest.mark.parametrize("phrase", [PHRASES[2], PHRASES[3]])
def test_the_way_up_is_even_in_db_and_begins_as_speech_ends(
    bed: np.ndarray, ducked: np.ndarray, phrase: Duck
) -> None:
    end = phrase.end_frame
    ramp = slice(end - 1, end + UP + 1)
    expected_db = np.concatenate([[phrase.gain_db], np.linspace(phrase.gain_db, 0.0, UP + 1)])
    assert largest(db(ducked[ramp] / bed[ramp]) - expected_db) < 1e-4


def test_a_ramp_that_would_begin_before_the_programme_is_cut_off(bed: np.ndarray, ducked: np.ndarray) -> None:
    """Speech at 0.1 s: half of the way down is over when the programme begins."""
    assert db(ducked[:1] / bed[:1])[0] == pytest.approx(-14.0 * (1 - 4_801 / DOWN), abs=1e-4)


def test_speech_on_the_first_frame_finds_the_bed_down() -> None:
    curve = DuckCurve([Duck(0, 100, -14.0)], RATE_HZ)
    assert db(gains(curve, 100, 100)) == pytest.approx(-14.0, abs=1e-5)


def test_ramps_take_as_long_as_is_common_practice() -> None:
    """Attack and release of 50 to 500 ms: common practice, no source."""
    assert 0.05 <= DOWN_SECONDS <= 0.5
    assert 0.05 <= UP_SECONDS <= 0.5


@pytest.mark.parametrize("block_frames", [64, 4_096, 48_001, FRAMES])
def test_block_size_never_changes_the_gain(block_frames: int) -> None:
    curve = DuckCurve(PHRASES, RATE_HZ)
    assert gains(curve, FRAMES, block_frames).tobytes() == gains(curve, FRAMES, 65_536).tobytes()


def test_the_gain_is_one_number_where_it_is_constant() -> None:
    """Nothing is multiplied where there is nothing to do."""
    curve = DuckCurve(PHRASES, RATE_HZ)
    assert curve.gain(300_000, 65_536) == 1.0
    assert curve.gain(165_000, 30_000) == pytest.approx(10 ** (-14 / 20))


@pytest.mark.parametrize("ducks", [[], [Duck(100, 200, 0.0)], [Duck(100, 100, -14.0)]])
def test_what_lowers_nothing_is_nothing(ducks: list[Duck]) -> None:
    curve = DuckCurve(ducks, RATE_HZ)
    assert curve.ducks == ()
    assert curve.gain(0, 1_000) == 1.0


def test_the_lowest_of_several_wins_where_they_overlap() -> None:
    curve = DuckCurve(
        [Duck(100, 90_000, -6.0), Duck(3_000, 5_000, -20.0), Duck(2_000, 4_000, -14.0)], RATE_HZ
    )
    found_db = db(gains(curve, 100_000, 65_536))
    assert largest(found_db[3_000:5_000] - -20.0) < 1e-5
    assert largest(found_db[5_000 + UP : 90_000] - -6.0) < 1e-5


def test_a_deep_one_does_not_hold_down_a_long_row_of_shallow_ones() -> None:
    """Clicks of a minute, half a second apart, need 3 dB; one phrase before them needs 20."""
    clicks = [Duck(RATE_HZ * beat // 2, RATE_HZ * beat // 2 + 1_920, -3.0) for beat in range(4, 124)]
    curve = DuckCurve([Duck(0, 90_000, -20.0), *clicks], RATE_HZ)
    assert [duck.gain_db for duck in curve.ducks] == [-20.0, -3.0]
    found_db = db(gains(curve, 61 * RATE_HZ, 65_536))
    assert largest(found_db[90_000 + UP : clicks[-1].end_frame] - -3.0) < 1e-5


def test_a_quarter_of_a_million_are_no_more_than_their_gaps_allow() -> None:
    """All cues of the longest session, each with a duck."""
    every = [Duck(start, start + 1_920, -3.0 - start % 7) for start in range(0, 250_000 * 9_600, 9_600)]
    curve = DuckCurve(every, RATE_HZ)
    assert len(curve.ducks) < 10
    assert curve.gain(125_000 * 9_600, 65_536) == pytest.approx(10 ** (-9 / 20))


# A hundred frames a second, so that a reference that looks at every frame and every window is quick.
SLOW_HZ = 100
SLOW_DOWN, SLOW_UP, SLOW_CLOSE = (round(s * SLOW_HZ) for s in (DOWN_SECONDS, UP_SECONDS, CLOSE_SECONDS))
SLOW_FRAMES = 1_200
some_ducks = st.lists(
    st.builds(
        lambda start, frames, gain_db: Duck(start, start + frames, gain_db),
        st.integers(0, 900),
        st.integers(0, 300),
        st.sampled_from([0.0, -3.0, -14.0, -20.0, -60.0]),
    ),
    max_size=12,
)


def by_definition_db(ducks: list[Duck]) -> np.ndarray:
    """Each frame as the docstrings say, from all frames around it."""
    margin = 3 * SLOW_CLOSE
    wanted_db = np.zeros(SLOW_FRAMES + 2 * margin)
    for duck in ducks:
        part = wanted_db[margin + duck.start_frame : margin + duck.end_frame]
        np.minimum(part, duck.gain_db, out=part)
    # As high as somewhere around it the bed can stay for long enough.
    lowest = np.lib.stride_tricks.sliding_window_view(wanted_db, SLOW_CLOSE).min(axis=1)
    held_db = np.lib.stride_tricks.sliding_window_view(lowest, SLOW_CLOSE).max(axis=1)
    reached = held_db.copy()
    for distance in range(1, max(SLOW_DOWN, SLOW_UP) + 1):
        if distance < SLOW_DOWN:
            sooner = held_db[distance:] * (1 - distance / SLOW_DOWN)
            np.minimum(reached[:-distance], sooner, out=reached[:-distance])
        # The first frame after the end is still down: the way up begins there.
        if distance <= SLOW_UP:
            later = held_db[:-distance] * (1 - (distance - 1) / SLOW_UP)
            np.minimum(reached[distance:], later, out=reached[distance:])
    first = margin - SLOW_CLOSE + 1
    return reached[first : first + SLOW_FRAMES]


@settings(deadline=None, database=None)
@given(some_ducks)
def test_any_ducks_give_what_the_definition_gives(ducks: list[Duck]) -> None:
    found_db = db(gains(DuckCurve(ducks, SLOW_HZ), SLOW_FRAMES, 97))
    assert largest(found_db - by_definition_db(ducks)) < 1e-4


@settings(deadline=None, database=None)
@given(some_ducks, st.randoms(use_true_random=False))
def test_their_order_does_not_matter(ducks: list[Duck], random) -> None:
    shuffled = random.sample(ducks, len(ducks))
    assert DuckCurve(shuffled, SLOW_HZ).ducks == DuckCurve(ducks, SLOW_HZ).ducks


@settings(deadline=None, database=None)
@given(some_ducks)
def test_the_bed_is_never_up_for_a_short_time(ducks: list[Duck]) -> None:
    wanted = DuckCurve(ducks, SLOW_HZ).ducks
    for one, other in pairwise(wanted):
        assert one.end_frame <= other.start_frame
        assert one.end_frame == other.start_frame or other.start_frame - one.end_frame >= SLOW_CLOSE
