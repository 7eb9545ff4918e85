"""A validated plan → its timeline: phases and cues at exact instants, a pure function of the plan."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from cuetrack.errors import Diagnostic, PlanError
from cuetrack.plan.model import MoveStep, Session
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.cueing import Cueing
from cuetrack.timeline.cues import Cue, Wordless
from cuetrack.timeline.phases import Phase, laid_out, with_lead_out
from cuetrack.timeline.runs import runs_of

DEFAULT_LEAD_OUT = Duration(Fraction(2))
MAX_CUES = 250_000


@dataclass(frozen=True, slots=True)
class Timeline:
    """A session on the programme axis.

    `phases` tile it: the first begins at zero, each begins where its neighbour ends. `cues` are in the
    order of their marks.
    """

    session: Session
    phases: tuple[Phase, ...]
    cues: tuple[Cue, ...]

    @property
    def end(self) -> Instant:
        """Where the programme ends."""
        return self.phases[-1].end


def compiled(session: Session) -> Timeline:
    """The timeline of `session`.

    Raises:
        PlanError: cues that cannot exist, counts without a tempo, a session beyond the limits; all of
            them at once, each on the coach's line.
    """
    phases = laid_out(session)
    runs = runs_of(phases)
    phases = _closed(session, phases)
    cueing = Cueing(session, phases)
    for run in runs:
        cueing.add_run(run, is_first=run.before is None)
        if len(cueing.cues) > MAX_CUES:
            place = run.move.place_of("move")
            raise PlanError([Diagnostic("error", f"more than {MAX_CUES} cues", place, "fewer rounds")])
    for phase in phases:
        if phase.step is not None and not isinstance(phase.step, MoveStep):
            cueing.add_free_cues(phase.step.cues, (phase,))
    if cueing.faults:
        raise PlanError(cueing.faults)
    return Timeline(session, phases, _in_order(cueing.cues))


def _closed(session: Session, phases: tuple[Phase, ...]) -> tuple[Phase, ...]:
    """The phases with their lead-out: as written, or enough to hear the end of counted work."""
    if session.lead_out is not None:
        return with_lead_out(phases, session.lead_out.length, session.place_of("lead-out"))
    if phases[-1].kind != "work":
        return phases
    finish = Cueing(session, phases).settings(phases[-1]).finish
    return phases if finish.by.value == "none" else with_lead_out(phases, DEFAULT_LEAD_OUT, None)


def _in_order(cues: list[Cue]) -> tuple[Cue, ...]:
    """By mark; where a count out of one move and into the next say the same at once, once."""
    seen: dict[object, Cue] = {}
    for cue in cues:
        if isinstance(cue, Wordless):
            key: object = (cue.sound, cue.mark)
        else:
            key = (cue.phrase.key, tuple(cue.phrase.slots.items()), cue.mark)
        seen.setdefault(key, cue)
    return tuple(sorted(seen.values(), key=lambda cue: cue.mark))
