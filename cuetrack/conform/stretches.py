"""Arrangement → the stretches worth hearing before a class: the changeovers, without the long middles."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timeline.phases import Phase

# Less is not worth a skip: it would be heard as a fault. Common practice, no source.
LEAST_SKIPPED_SECONDS = 2


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the programme, half-open in frames."""

    start_frame: int
    end_frame: int

    @property
    def frames(self) -> int:
        """How long it is."""
        return self.end_frame - self.start_frame


def changeovers(arrangement: Arrangement, around_frames: int) -> tuple[Stretch, ...]:
    """What lies `around_frames` before and after each boundary between phases, and at the very end.

    A phrase that an edge would cut is heard whole; what would leave less than `LEAST_SKIPPED_SECONDS`
    between two stretches makes them one.
    """
    rate_hz, frames = arrangement.rate_hz, arrangement.frames
    boundaries = [phase.end.to_frame(rate_hz) for phase in arrangement.timeline.phases]
    around = (Stretch(max(0, at - around_frames), min(frames, at + around_frames)) for at in boundaries)
    spoken = [
        Stretch(one.start_frame, one.start_frame + one.frames)
        for one in arrangement.placed
        if one.text is not None
    ]
    return joined(_with_whole_phrases(around, spoken), LEAST_SKIPPED_SECONDS * rate_hz)


def _with_whole_phrases(stretches: Iterable[Stretch], spoken: Sequence[Stretch]) -> Iterator[Stretch]:
    """The stretches, and the phrases that their edges would cut; `spoken` is in order, none overlapping."""
    starts = [phrase.start_frame for phrase in spoken]
    for stretch in stretches:
        yield stretch
        for edge in _edges(stretch):
            index = bisect_left(starts, edge) - 1
            if index >= 0 and edge < spoken[index].end_frame:
                yield spoken[index]


def _edges(stretch: Stretch) -> tuple[int, int]:
    return stretch.start_frame, stretch.end_frame


def where(arrangement: Arrangement, wanted: Callable[[Phase], bool]) -> tuple[Stretch, ...]:
    """The phases that are `wanted`, each with the pauses before it, in which it is announced."""
    rate_hz = arrangement.rate_hz
    found: list[Stretch] = []
    begins = 0
    for phase in arrangement.timeline.phases:
        end = phase.end.to_frame(rate_hz)
        if wanted(phase):
            found.append(Stretch(begins, end))
        if phase.kind in {"work", "talk"}:
            begins = end
    return joined(found, 1)


def within(stretches: Sequence[Stretch], limits: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """What the stretches and the limits have in common."""
    both = (
        Stretch(max(one.start_frame, limit.start_frame), min(one.end_frame, limit.end_frame))
        for one in stretches
        for limit in limits
    )
    return tuple(one for one in both if one.frames > 0)


def joined(stretches: Iterable[Stretch], least_gap_frames: int) -> tuple[Stretch, ...]:
    """The stretches in order; those that lie less than `least_gap_frames` apart are one."""
    found: list[Stretch] = []
    for one in sorted(stretches, key=_edges):
        if found and one.start_frame < found[-1].end_frame + least_gap_frames:
            found[-1] = Stretch(found[-1].start_frame, max(found[-1].end_frame, one.end_frame))
        else:
            found.append(one)
    return tuple(found)
