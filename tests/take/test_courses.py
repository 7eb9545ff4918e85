"""Cuts, delays, single cues and another speed are told apart by how late cues are."""

from __future__ import annotations

import pytest

from cuetrack.take.courses import Course, Speed, course_or_speed, courses_of, late_at, speed_of

STARTS = [48_000 * second for second in range(2, 122, 3)]


def test_without_cues_all_is_on_time() -> None:
    assert course_or_speed([], []) == (None, (Course(0, 0),))


@pytest.mark.parametrize("late", [0, 1, -1105, 480_000])
def test_all_late_by_the_same(late: int) -> None:
    assert course_or_speed(STARTS, [float(late)] * len(STARTS)) == (None, (Course(0, late),))


def test_one_or_two_cues_make_no_course() -> None:
    lates = [0] * len(STARTS)
    lates[5] = lates[9] = lates[10] = 7
    assert courses_of(STARTS, lates) == (Course(0, 0),)


@pytest.mark.parametrize("step", [1, -1, -10, 144_000])
def test_a_step_is_a_cut_and_no_speed(step: int) -> None:
    lates = [float(step) if number >= 20 else 0.0 for number in range(len(STARTS))]
    speed, courses = course_or_speed(STARTS, lates)
    assert speed is None
    assert courses == (Course(0, 0), Course(STARTS[20], step))
    assert [late_at(courses, frame) for frame in (0, STARTS[20] - 1, STARTS[20], 10**9)] == [0, 0, step, step]


@pytest.mark.parametrize("ppm", [2.0, -10.0, 1_000.0])
def test_ever_later_is_another_speed_though_some_cues_are_wrong(ppm: float) -> None:
    lates = [3 + start * ppm / 1e6 for start in STARTS]
    lates[4], lates[30] = 900.0, -2_000.0
    speed, _ = course_or_speed(STARTS, lates)
    assert speed is not None
    assert speed.ppm == pytest.approx(ppm, abs=0.05)
    assert speed.late_frames == pytest.approx(3, abs=0.5)


def test_few_cues_tell_no_speed() -> None:
    assert speed_of(STARTS[:5], [0.0, 1.0, 2.0, 3.0, 4.0]) is None


def test_the_rounding_of_another_rate_is_one_course() -> None:
    lates = [0, 0, 0, 1, 1, 1, 0, 0, 0, 0, 1, 1, 1, 0, 0, 0]
    assert courses_of(STARTS[: len(lates)], lates) == (Course(0, 0),)


def test_a_speed_says_how_late_each_frame_is() -> None:
    assert Speed(-5.0, 10.0).late_at(4_800_000) == 43
