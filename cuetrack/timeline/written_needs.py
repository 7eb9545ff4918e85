"""A session whose times are open → the least that what is written in them leaves: counts, warnings, own cues.

What a coach wrote is sounded or refused, so an open time is not chosen too short for it where its range has
room. What is built in gives way, and asks for nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from cuetrack.errors import Place
from cuetrack.plan.model import FreeCue, MoveStep, Session
from cuetrack.plan.times import FromEnd, FromStart
from cuetrack.timebase import Duration
from cuetrack.timeline.calls import CountSetting, Setting
from cuetrack.timeline.collector import CueCollector
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.runs import Run, runs_of

# A spoken number begins before the instant that it counts.
_BEFORE_A_WORD = Duration(Fraction(1))
# Work is longer than the warning before its end.
_BEFORE_A_WARNING = Duration(Fraction(1))
_ZERO = Duration(Fraction(0))

# Phases that share what is asked of them, and how long they have to be together.
_Asked = tuple[Sequence[Phase], Duration]


def written_needs(session: Session, phases: tuple[Phase, ...]) -> dict[Place | None, Duration]:
    """What each open time needs at least, by its place in the plan.

    Of several times in a row the last open one is asked for what the others leave, as short as they can be.
    """
    needs: dict[Place | None, Duration] = {}
    for stretch, least in _asked(session, phases):
        open_phases = [phase for phase in stretch if phase.flexible is not None]
        if not open_phases:
            continue
        last = open_phases[-1]
        others = sum((_shortest(phase) for phase in stretch if phase is not last), _ZERO)
        if least > others:
            needs[last.place] = max(least - others, needs.get(last.place, _ZERO))
    return needs


def _shortest(phase: Phase) -> Duration:
    return phase.flexible.shortest if phase.flexible is not None else phase.length


def _asked(session: Session, phases: tuple[Phase, ...]) -> Iterator[_Asked]:
    cues = CueCollector(session, phases)
    for run in runs_of(phases):
        yield run.lead, _length_of(cues.settings(run.phases[0]).start)
        yield from _asked_of_work(cues, run)
    for phase in phases:
        if phase.step is not None and not isinstance(phase.step, MoveStep):
            yield (phase,), _last_point(phase.step.cues)


def _asked_of_work(cues: CueCollector, run: Run) -> Iterator[_Asked]:
    out_of = cues.settings(run.phases[-1])
    yield run.phases, _length_of(out_of.finish)
    yield run.phases, _length_of_warning(out_of.warn)
    yield run.phases, _last_point(run.move.cues)
    for phase in run.phases:
        if phase.stage is not None:
            yield (phase,), _last_point(phase.stage.cues)


def _length_of(count: CountSetting) -> Duration:
    """How long a count that a coach wrote takes."""
    if count.points.is_default or not count.longest:
        return _ZERO
    return count.longest + _BEFORE_A_WORD if count.by_voice else count.longest


def _length_of_warning(warn: Setting[Duration | None]) -> Duration:
    return _ZERO if warn.is_default or not warn.value else warn.value + _BEFORE_A_WARNING


def _last_point(written: Sequence[FreeCue]) -> Duration:
    """How long a stretch has to be for all points that are written in it."""
    return max((cue.at.offset for cue in written if isinstance(cue.at, FromStart | FromEnd)), default=_ZERO)
