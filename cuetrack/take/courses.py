"""Where each cue of a file was found → the stretches in which all of them are late by the same.

A file that was cut, delayed or played at another speed is told apart so from single cues that are wrong.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

# So many cues in a row that are late by the same make a course; fewer are cues at the wrong place.
_LEAST_CUES = 3
# A line must explain most of the errors to this, and be steeper than that, to be another speed.
_MOST_OFF_FRAMES, _MOST_OFF_SHARE, _LEAST_PPM = 1.0, 0.02, 0.3
_EXPLAINED, _EXPLAINED_BY_COURSES = 0.7, 0.9
_LEAST_FITTED, _MOST_FITTED = 6, 400


@dataclass(frozen=True, slots=True)
class Course:
    """From the frame `from_frame` of the programme on everything is late by `late_frames`."""

    from_frame: int
    late_frames: int


@dataclass(frozen=True, slots=True)
class Speed:
    """A file that runs too slowly by `ppm` parts per million, or below zero too fast.

    Its beginning is late by `late_frames`.
    """

    late_frames: float
    ppm: float

    def late_at(self, frame: int) -> int:
        """How late a frame of the programme is."""
        return round(self.late_frames + frame * self.ppm / 1e6)


def late_at(courses: Sequence[Course], frame: int) -> int:
    """How late a frame of the programme is in these courses."""
    return courses[max(0, bisect_right([one.from_frame for one in courses], frame) - 1)].late_frames


def course_or_speed(
    starts: Sequence[int], late_frames: Sequence[float]
) -> tuple[Speed | None, tuple[Course, ...]]:
    """What explains how late cues are: another speed, or the courses in which they are.

    One step that explains nearly all is a cut, however small it is.
    """
    courses = courses_of(starts, [round(late) for late in late_frames])
    right = sum(
        round(late) == late_at(courses, start) for start, late in zip(starts, late_frames, strict=True)
    )
    if len(courses) <= 2 and right >= _EXPLAINED_BY_COURSES * len(starts):
        return None, courses
    return speed_of(starts, late_frames), courses


def courses_of(starts: Sequence[int], errors: Sequence[int]) -> tuple[Course, ...]:
    """The courses of found cues, given in order by their frames and by how late they are.

    The first holds from the programme's beginning; without any cue there is one that is on time. Where
    another rate was rounded, cues are late by one frame or not, now and then: that is one course.
    """
    made: list[Course] = []
    for late, run in groupby(zip(starts, errors, strict=True), lambda pair: pair[1]):
        held = [start for start, _ in run]
        if len(held) < _LEAST_CUES or (made and made[-1].late_frames == late):
            continue
        made.append(Course(held[0] if made else 0, late))
    usual = Counter(errors).most_common(1)
    lates = [course.late_frames for course in made]
    if not made or (len(made) > 2 and max(lates) - min(lates) <= 1):
        return (Course(0, usual[0][0] if usual else 0),)
    return tuple(made)


def speed_of(starts: Sequence[int], late_frames: Sequence[float]) -> Speed | None:
    """The speed of a file whose cues are late by ever more; None if they are not.

    By the median of the slopes between all pairs of cues (Theil and Sen), so that cues at a wrong place do
    not count.
    """
    if len(starts) < _LEAST_FITTED:
        return None
    some = np.unique(np.linspace(0, len(starts) - 1, _MOST_FITTED).astype(int))
    at, late = np.array(starts, np.float64)[some], np.array(late_frames, np.float64)[some]
    apart = at[:, np.newaxis] - at[np.newaxis]
    far = apart > 0.2 * float(np.ptp(at))
    if not far.any():
        return None
    slope = float(np.median((late[:, np.newaxis] - late[np.newaxis])[far] / apart[far]))
    zero = float(np.median(late - slope * at))
    off = np.abs(late - zero - slope * at)
    most = max(_MOST_OFF_FRAMES, _MOST_OFF_SHARE * abs(slope) * float(np.ptp(at)))
    steady = float(np.mean(off <= most)) >= _EXPLAINED
    return Speed(zero, slope * 1e6) if steady and abs(slope) * 1e6 >= _LEAST_PPM else None
