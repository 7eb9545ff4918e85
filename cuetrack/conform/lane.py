"""One voice can say one thing at a time: the stretches that are taken, and where else there is room."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterator


class VoiceLane:
    """The taken stretches of one voice, in frames, half-open, none overlapping.

    A phrase that may move keeps `breath` frames clear of what is taken.
    """

    def __init__(self, breath: int) -> None:
        self._breath = breath
        self._taken: list[tuple[int, int]] = []

    def take(self, start: int, end: int) -> None:
        """Marks `start` to `end` as spoken."""
        insort(self._taken, (start, end))

    def nearest_start(self, frames: int, wanted: int, start: int, end: int, latest_start: int) -> int | None:
        """Where `frames` between `start` and `end` begin nearest to `wanted`, the earlier of two; or None."""
        starts = []
        for free_start, free_end in self._free_stretches(start, end):
            last = min(free_end - frames, latest_start)
            if free_start <= last:
                starts.append(min(max(wanted, free_start), last))
        return min(starts, key=lambda found: (abs(found - wanted), found), default=None)

    def longest_free(self, start: int, end: int, latest_start: int) -> int:
        """The most frames that fit between `start` and `end` if they begin by `latest_start`."""
        free = self._free_stretches(start, end)
        return max(
            (free_end - free_start for free_start, free_end in free if free_start <= latest_start), default=0
        )

    def growing_stretch(self, start: int, end: int) -> int:
        """Frames free between what stays with `start` and what moves with `end`, when a coach moves `end`.

        Negative where they are in each other's way.
        """
        free_from = start
        for taken_start, taken_end in self._near(start, max(start, end)):
            if taken_start > start:
                return min(end, taken_start - self._breath) - free_from
            free_from = taken_end + self._breath
        return end - free_from

    def _free_stretches(self, start: int, end: int) -> Iterator[tuple[int, int]]:
        """The free stretches between `start` and `end`, in order."""
        free_from = start
        for taken_start, taken_end in self._near(start, end):
            if taken_start - self._breath > free_from:
                yield free_from, taken_start - self._breath
            free_from = taken_end + self._breath
        if free_from < end:
            yield free_from, end

    def _near(self, start: int, end: int) -> Iterator[tuple[int, int]]:
        """What is taken and reaches, with a breath, into `start` to `end`, in order."""
        index = bisect_left(self._taken, (start,))
        # Only the one before can reach over `start`: none of the taken stretches overlap.
        for taken in self._taken[max(0, index - 1) :]:
            if taken[0] >= end + self._breath:
                return
            if taken[1] > start - self._breath:
                yield taken
