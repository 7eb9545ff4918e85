"""One voice can say one thing at a time: the stretches that are taken, and where else there is room."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterator


class VoiceLane:
    """The taken stretches of one voice, in frames, half-open, none overlapping."""

    def __init__(self) -> None:
        self._taken: list[tuple[int, int]] = []

    def take(self, start: int, end: int) -> None:
        """Marks `start` to `end` as spoken."""
        insort(self._taken, (start, end))

    def overlap(self, start: int, end: int) -> int:
        """By how many frames `start` to `end` runs into what is taken; 0 if it is free."""
        return max(
            (min(end, t_end) - max(start, t_start) for t_start, t_end in self._near(start, end)),
            default=0,
        )

    def free_stretches(self, start: int, end: int, breath: int) -> Iterator[tuple[int, int]]:
        """The free stretches between `start` and `end`, `breath` frames clear of what is taken."""
        free_from = start
        for taken_start, taken_end in self._near(start - breath, end + breath):
            if taken_start - breath > free_from:
                yield free_from, taken_start - breath
            free_from = max(free_from, taken_end + breath)
        if free_from < end:
            yield free_from, end

    def _near(self, start: int, end: int) -> Iterator[tuple[int, int]]:
        """What is taken and reaches into `start` to `end`, in order."""
        index = bisect_left(self._taken, (start,))
        # Only the one before can reach over `start`: none of the taken stretches overlap.
        for taken in self._taken[max(0, index - 1) :]:
            if taken[0] >= end:
                return
            if taken[1] > start:
                yield taken


def nearest_start(free: tuple[int, int], frames: int, wanted: int, latest_start: int) -> int | None:
    """The start nearest to `wanted` at which `frames` fit into the free stretch, or None."""
    first, last = free[0], min(free[1] - frames, latest_start)
    return min(max(wanted, first), last) if first <= last else None
