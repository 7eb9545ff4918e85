"""The mixer against a plain sum of whole arrays, which knows nothing of blocks."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.mix.blocks import mixed_blocks, on_each_channel

FRAMES = 100_003


def placed(sound, start_frame, frames):
    return Placed(sound, start_frame, frames, mark_frame=start_frame, cue=None)


def arrangement_of(frames, *sounds):
    return Arrangement(timeline=None, rate_hz=48_000, frames=frames, placed=sounds)


def mixed(arrangement, sounds, block_frames):
    return np.concatenate([np.empty(0, np.float32), *mixed_blocks(arrangement, sounds, block_frames)])


def plain_sum(arrangement, sounds):
    """The programme as one array, each sound added where it starts."""
    total = np.zeros(arrangement.frames, np.float32)
    for one in arrangement.placed:
        total[one.start_frame : one.start_frame + one.frames] += sounds[one.sound]
    return total


@pytest.fixture(scope="module")
def sounds():
    rng = np.random.default_rng(20_11)
    lengths = {"tone:pip": 4_800, "speech:row": 30_011, "speech:easy": 777, "tone:tick": 1}
    return {name: rng.uniform(-0.6, 0.6, frames).astype(np.float32) for name, frames in lengths.items()}


@pytest.fixture(scope="module")
def busy(sounds):
    """Overlaps of two and three sounds, neighbours that touch, sounds at both ends, and gaps."""
    starts = [
        ("tone:pip", 0),
        ("speech:row", 0),
        ("speech:easy", 4_000),
        ("tone:pip", 4_800),
        ("tone:tick", 65_535),
        ("tone:tick", 65_536),
        ("speech:row", FRAMES - 30_011),
        ("tone:pip", FRAMES - 4_800),
    ]
    return arrangement_of(FRAMES, *(placed(name, start, len(sounds[name])) for name, start in starts))


@pytest.mark.parametrize("block_frames", [1, 64, 4_096, 48_001, 65_536, FRAMES, 10 * FRAMES])
def test_block_size_never_changes_a_sample(busy, sounds, block_frames):
    assert mixed(busy, sounds, block_frames).tobytes() == plain_sum(busy, sounds).tobytes()


@given(data=st.data())
def test_any_arrangement_sums_alike_in_any_two_block_sizes(data, sounds):
    frames = data.draw(st.integers(30_011, 60_000))
    names = data.draw(st.lists(st.sampled_from(sorted(sounds)), max_size=12))
    starts = [data.draw(st.integers(0, frames - len(sounds[name]))) for name in names]
    in_order = sorted(zip(starts, names, strict=True))
    arrangement = arrangement_of(
        frames, *(placed(name, start, len(sounds[name])) for start, name in in_order)
    )
    block_frames = data.draw(st.integers(97, 2 * frames))
    assert mixed(arrangement, sounds, block_frames).tobytes() == plain_sum(arrangement, sounds).tobytes()


def test_overlapping_sounds_are_added():
    sounds = {"a": np.full(4, 0.5, np.float32), "b": np.full(4, 0.25, np.float32)}
    overlapping = arrangement_of(8, placed("a", 0, 4), placed("b", 2, 4))
    assert mixed(overlapping, sounds, 3).tolist() == [0.5, 0.5, 0.75, 0.75, 0.25, 0.25, 0.0, 0.0]


def test_a_sum_over_full_scale_is_not_clamped():
    sounds = {"a": np.full(2, 0.75, np.float32)}
    assert mixed(arrangement_of(2, placed("a", 0, 2), placed("a", 0, 2)), sounds, 1).tolist() == [1.5, 1.5]


@pytest.mark.parametrize("start", [0, 1, 4_095, 4_096, 9_999])
def test_a_sound_lies_on_its_frames_and_all_else_is_exact_zero(start):
    programme = mixed(arrangement_of(10_000, placed("a", start, 1)), {"a": np.ones(1, np.float32)}, 4_096)
    assert np.flatnonzero(programme).tolist() == [start]
    assert not np.signbit(programme).any()


def test_only_the_last_block_is_shorter(sounds):
    arrangement = arrangement_of(10_000, placed("speech:easy", 5_000, 777))
    assert [len(block) for block in mixed_blocks(arrangement, sounds, 4_096)] == [4_096, 4_096, 1_808]


def test_a_programme_without_frames_has_no_blocks():
    assert list(mixed_blocks(arrangement_of(0), {})) == []


def test_silent_blocks_share_one_array_that_nobody_can_change():
    first, second, last = mixed_blocks(arrangement_of(10_000), {}, 4_096)
    assert np.shares_memory(first, second)
    assert np.shares_memory(first, last)
    assert not first.flags.writeable


def test_two_runs_over_one_arrangement_do_not_disturb_each_other(busy, sounds):
    one, other = mixed_blocks(busy, sounds, 4_096), mixed_blocks(busy, sounds, 4_096)
    pairs = list(zip(one, other, strict=True))
    assert len(pairs) > 1
    assert all(np.array_equal(a, b) for a, b in pairs)


def test_memory_does_not_grow_with_the_length_of_the_session(sounds):
    def peak_bytes(hours):
        frames = hours * 3_600 * 48_000
        starts = range(0, frames - 48_000, 600 * 48_000)
        arrangement = arrangement_of(frames, *(placed("speech:row", start, 30_011) for start in starts))
        tracemalloc.start()
        try:
            mixed_frames = sum(len(block) for block in mixed_blocks(arrangement, sounds))
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert mixed_frames == frames
        return peak

    # A block has 262,144 bytes; the programme of eight hours would have 5.5 GB.
    assert peak_bytes(1) < 2_000_000
    assert peak_bytes(8) < 2_000_000


@pytest.mark.parametrize(
    ("start", "frames", "message"),
    [
        (-1, 4, "'a' lies at frames -1 to 3, outside the programme, 0 to 10"),
        (7, 4, "'a' lies at frames 7 to 11, outside the programme, 0 to 10"),
        (0, 5, r"'a' is float32 of shape \(4,\), not float32 of shape \(5,\)"),
    ],
)
def test_a_misplaced_sound_is_refused_before_the_first_block(start, frames, message):
    with pytest.raises(ValueError, match=message):
        mixed_blocks(arrangement_of(10, placed("a", start, frames)), {"a": np.zeros(4, np.float32)})


def test_samples_of_another_type_are_refused():
    with pytest.raises(ValueError, match="'a' is float64 of shape"):
        mixed_blocks(arrangement_of(10, placed("a", 0, 4)), {"a": np.zeros(4)})


def test_a_sound_without_samples_is_refused():
    with pytest.raises(ValueError, match="'a' is placed but has no samples"):
        mixed_blocks(arrangement_of(10, placed("a", 0, 4)), {})


def test_an_arrangement_out_of_order_is_refused():
    sounds = {"a": np.zeros(1, np.float32)}
    with pytest.raises(ValueError, match="not in the order of its starts"):
        mixed_blocks(arrangement_of(10, placed("a", 5, 1), placed("a", 4, 1)), sounds)


def test_a_block_without_frames_is_refused():
    with pytest.raises(ValueError, match="a block has 1 frame or more, not 0"):
        mixed_blocks(arrangement_of(10), {}, 0)


@pytest.mark.parametrize("width", [1, 2, 3])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_what_is_done_on_each_channel_is_what_numpy_does_with_all_at_once(width, kind):
    rng = np.random.default_rng(4)
    block = rng.normal(0, 0.3, (999, width)).astype(np.float32)
    values = rng.normal(0, 0.3, 999).astype(kind)
    before = block.copy()
    for operation in (np.add, np.multiply):
        made = on_each_channel(operation, block, values)
        expected = operation(block, values[:, np.newaxis]).astype(np.float32)
        assert made.tobytes() == expected.tobytes()
        assert made.dtype == np.float32
    assert np.array_equal(block, before)
