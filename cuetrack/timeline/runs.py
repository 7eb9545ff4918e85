"""Phases → runs: the work of one move on one side without a break, and the time before it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from cuetrack.plan.model import MoveStep
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.phases import Phase


@dataclass(frozen=True, slots=True)
class Run:
    """Consecutive `work` phases of one move on one side, and the phases before them.

    `gap` holds what lies between the run before and this one; it is empty where work follows work.
    """

    phases: tuple[Phase, ...]
    gap: tuple[Phase, ...]
    before: Run | None

    @property
    def start(self) -> Instant:
        """The boundary that is counted into."""
        return self.phases[0].start

    @property
    def end(self) -> Instant:
        """The boundary that is counted out to."""
        return self.phases[-1].end

    @property
    def length(self) -> Duration:
        """The working time of this side."""
        return self.end - self.start

    @property
    def move(self) -> MoveStep:
        """The move that is done."""
        step = self.phases[0].step
        if not isinstance(step, MoveStep):
            raise TypeError("a run is made of work, and work belongs to a move")
        return step

    @property
    def is_second_side(self) -> bool:
        """Whether the same move was done on another side just before."""
        return self.before is not None and self.before.phases[0].turn == self.phases[0].turn

    @property
    def opens_last_round(self) -> bool:
        """Whether this is the first run in the last of several rounds."""
        first = self.phases[0]
        if first.part is None or first.part.rounds == 1 or first.round != first.part.rounds:
            return False
        before = self.before.phases[0] if self.before else None
        return before is None or (before.part, before.round) != (first.part, first.round)

    @property
    def lead(self) -> tuple[Phase, ...]:
        """The time in which this run is announced: the gap, or the phase of work before it."""
        if self.gap or self.before is None:
            return self.gap
        return self.before.phases[-1:]


def runs_of(phases: tuple[Phase, ...]) -> tuple[Run, ...]:
    """All runs in order; each knows the one before it."""
    runs: list[Run] = []
    gap: tuple[Phase, ...] = ()
    for (is_work, _, _), group in groupby(phases, key=lambda p: (p.kind == "work", p.turn, p.side)):
        if is_work:
            runs.append(Run(tuple(group), gap, runs[-1] if runs else None))
            gap = ()
        else:
            gap = (*gap, *group)
    return tuple(runs)
