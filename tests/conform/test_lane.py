"""The one voice's lane: what is free, and where."""

from __future__ import annotations

import pytest

from cuetrack.conform.lane import VoiceLane


@pytest.fixture
def lane() -> VoiceLane:
    """Taken are 100..200 and 300..350; phrases keep 10 frames clear of them."""
    lane = VoiceLane(breath=10)
    lane.take(300, 350)
    lane.take(100, 200)
    return lane


@pytest.mark.parametrize(
    ("frames", "wanted", "start"),
    [
        (50, 20, 20),
        (50, 60, 40),  # ends at 90
        (50, 130, 210),  # 40 is 90 away, 210 is 80
        (50, 125, 40),  # as near as 210: the earlier
        (80, 240, 210),  # 210..290 is just free
        (81, 240, 360),
        (50, 330, 360),
        (50, 1000, 950),
        (640, 0, 360),
    ],
)
def test_nearest_start(lane: VoiceLane, frames: int, wanted: int, start: int) -> None:
    assert lane.nearest_start(frames, wanted, 0, 1000, 1000) == start


def test_nowhere_free_long_enough(lane: VoiceLane) -> None:
    assert lane.nearest_start(641, 0, 0, 1000, 1000) is None
    assert lane.nearest_start(91, 0, 0, 360, 360) is None
    assert lane.nearest_start(1, 0, 95, 205, 205) is None
    assert lane.nearest_start(1, 0, 50, 40, 40) is None  # a window without any time


def test_latest_start_bounds_the_place(lane: VoiceLane) -> None:
    assert lane.nearest_start(50, 300, 0, 1000, 230) == 230
    assert lane.nearest_start(50, 300, 120, 1000, 209) is None
    assert lane.nearest_start(50, 300, 120, 1000, 210) == 210


def test_a_free_stretch_of_one_frame() -> None:
    lane = VoiceLane(breath=10)
    lane.take(0, 10)
    lane.take(31, 50)
    assert lane.nearest_start(1, 0, 0, 40, 40) == 20
    assert lane.nearest_start(2, 0, 0, 40, 40) is None


def test_phrases_end_at_the_window_and_need_no_breath_there(lane: VoiceLane) -> None:
    assert lane.nearest_start(90, 500, 0, 90, 90) == 0
    assert lane.nearest_start(40, 500, 0, 400, 400) == 360


def test_longest_free_that_begins_in_time(lane: VoiceLane) -> None:
    assert lane.longest_free(0, 1000, 1000) == 640
    assert lane.longest_free(0, 1000, 359) == 90
    assert lane.longest_free(0, 250, 1000) == 90
    assert lane.longest_free(95, 205, 205) == 0


@pytest.mark.parametrize(
    ("start", "end", "frames"),
    [
        (0, 90, 90),
        (0, 280, 90),  # 100..200 moves with the end
        (100, 280, 70),  # 100..200 stays with the start
        (150, 400, 80),  # and 300..350 moves
        (150, 205, -5),
        (250, 240, -10),  # a window without any time
        (400, 1000, 600),
    ],
)
def test_stretch_that_grows_when_the_end_is_moved(lane: VoiceLane, start: int, end: int, frames: int) -> None:
    assert lane.growing_stretch(start, end) == frames
