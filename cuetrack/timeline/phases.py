"""A validated plan → phases that tile the session, in the order the plan gives.

For each round, each step; in a move, for each side, each stage; `change` between the sides; the rest
after a move, but none after the part's last move in its last round. Parts follow without a gap.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from cuetrack.errors import CuetrackError, Diagnostic, Place, PlanError
from cuetrack.plan.model import MoveStep, Part, RestStep, Session, Stage, TalkStep
from cuetrack.plan.times import MAX_TIME, CountedTime, FixedTime, FlexibleTime, PlanTimeValue
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed_settings import bed_settings

PhaseKind = Literal["lead-in", "work", "change", "rest", "talk"]

DEFAULT_LEAD_IN = Duration(Fraction(5))
DEFAULT_CHANGE = Duration(Fraction(5))
# No time that is chosen is shorter: what is said in it needs a place, however much room that is.
LEAST_CHOSEN = Duration(Fraction(1))
MAX_PHASES = 100_000
# A step of no time, such as `rest: 0s`, is no phase; one beside each phase is more than anybody writes.
MAX_TURNS = 2 * MAX_PHASES
# Room for some thirty moves each at a tempo that shares nothing with the others; exact sums of more
# become slow.
_MOST_DENOMINATOR_BITS = 1024
_FEWER_ROUNDS = "fewer `rounds:`, or split it into several plans"


@dataclass(frozen=True, slots=True)
class Phase:
    """The smallest timed interval of the timeline, half-open on the programme axis."""

    index: int
    kind: PhaseKind
    start: Instant
    end: Instant
    part: Part | None
    round: int | None
    step: MoveStep | RestStep | TalkStep | None
    stage: Stage | None
    side: str | None
    # Counts the steps as they are done: the same move in another round is another turn.
    turn: int
    place: Place | None
    # What the plan leaves open here, if it does: the length is one of these.
    flexible: FlexibleTime | None = None

    @property
    def length(self) -> Duration:
        """How long the phase lasts."""
        return self.end - self.start

    @property
    def move(self) -> MoveStep | None:
        """The move that is done here, or whose sides change here."""
        if isinstance(self.step, MoveStep) and self.kind in {"work", "change"}:
            return self.step
        return None


@dataclass(frozen=True, slots=True)
class _Turn:
    """One step as it is done: in its part, in its round."""

    part: Part
    round: int
    step: MoveStep | RestStep | TalkStep


# How long a flexible time is, by its number among all of them; None for its middle.
Choice = Callable[[int], Duration | None]


def laid_out(session: Session, choice: Choice = lambda number: None) -> tuple[Phase, ...]:
    """The session's phases: each begins where the one before it ends, the first at zero.

    Flexible times are as long as `choice` says.

    Raises:
        PlanError: the session would be longer than 24 h or have more than `MAX_PHASES` phases or
            `MAX_TURNS` steps in all rounds, or counts have no tempo; names every such place.
    """
    return _Layout(session, choice).phases()


def number_of_turns(session: Session) -> int:
    """How many steps are done in all rounds, those of no time too."""
    return sum(part.rounds * len(part.steps) for part in session.parts)


class _Layout:
    def __init__(self, session: Session, choice: Choice) -> None:
        self._session = session
        self._choice, self._flexible_times = choice, 0
        self._phases: list[Phase] = []
        self._now = Instant(Fraction(0))
        self._faults: dict[Diagnostic, None] = {}

    def phases(self) -> tuple[Phase, ...]:
        session = self._session
        if number_of_turns(session) > MAX_TURNS:
            message = f"the session has more than {MAX_TURNS} steps in all its rounds"
            raise PlanError([Diagnostic("error", message, session.place_of("parts"), _FEWER_ROUNDS)])
        lead_in = session.lead_in.length if session.lead_in else DEFAULT_LEAD_IN
        self._add("lead-in", FixedTime(lead_in), None, -1, session.place_of("lead-in"))
        for part in session.parts:
            self._add_part(part)
        if self._faults:
            raise PlanError(self._faults)
        if not self._phases:
            message = "the session has no time in it"
            hint = "give a move, a rest or a talk some time"
            raise PlanError([Diagnostic("error", message, session.place_of("parts"), hint)])
        return tuple(self._phases)

    def _add_part(self, part: Part) -> None:
        turns = [_Turn(part, number, step) for number in range(1, part.rounds + 1) for step in part.steps]
        last_move = max((i for i, turn in enumerate(turns) if isinstance(turn.step, MoveStep)), default=-1)
        for index, turn in enumerate(turns):
            number = self._phases[-1].turn + 1 if self._phases else 0
            if not isinstance(turn.step, MoveStep):
                self._add_pause(turn, turn.step, number)
                continue
            self._add_move(turn, turn.step, number)
            follows_rest = index + 1 < len(turns) and isinstance(turns[index + 1].step, RestStep)
            if not follows_rest and (index != last_move or turn.step.rest is not None):
                self._add_automatic_rest(turn, turn.step, number)

    def _add_move(self, turn: _Turn, move: MoveStep, number: int) -> None:
        for index, side in enumerate(move.sides or (None,)):
            if index:
                self._add_change(turn, move, side, number)
            for stage, time, place in _working_times(move, turn.part):
                self._add("work", time, turn, number, place, stage=stage, side=side)

    def _add_change(self, turn: _Turn, move: MoveStep, side: str | None, number: int) -> None:
        time: PlanTimeValue = FixedTime(DEFAULT_CHANGE)
        place = move.place_of("sides")
        for owner in (move, turn.part):
            if owner.change is not None:
                time, place = owner.change, owner.place_of("change")
                break
        self._add("change", _with_flex(time, turn.part), turn, number, place, side=side)

    def _add_automatic_rest(self, turn: _Turn, move: MoveStep, number: int) -> None:
        for owner in (move, turn.part):
            if owner.rest is not None:
                time = _with_flex(owner.rest, turn.part)
                self._add("rest", time, turn, number, owner.place_of("rest"))
                return

    def _add_pause(self, turn: _Turn, step: RestStep | TalkStep, number: int) -> None:
        if isinstance(step, RestStep):
            time = _with_flex(step.rest, turn.part)
            self._add("rest", time, turn, number, step.place_of("rest"))
        else:
            self._add("talk", step.talk, turn, number, step.place_of("talk"))

    def _add(
        self,
        kind: PhaseKind,
        time: PlanTimeValue,
        turn: _Turn | None,
        number: int,
        place: Place | None,
        *,
        stage: Stage | None = None,
        side: str | None = None,
    ) -> None:
        length = self._length(time, place, turn)
        if not length:
            return
        end = self._now + length
        too_much = _too_much(end, len(self._phases), place)
        if too_much:
            raise PlanError([*self._faults, too_much])
        part, round_number, step = (turn.part, turn.round, turn.step) if turn else (None, None, None)
        self._phases.append(
            Phase(
                len(self._phases),
                kind,
                self._now,
                end,
                part,
                round_number,
                step,
                stage,
                side,
                number,
                place,
                time if isinstance(time, FlexibleTime) else None,
            )
        )
        self._now = end

    def _length(self, time: PlanTimeValue, place: Place | None, turn: _Turn | None) -> Duration:
        match time:
            case FixedTime(length):
                return length
            case FlexibleTime():
                usual = time.middle()
                if not usual:  # a time that is not there is not chosen either
                    return usual
                self._flexible_times += 1
                chosen = self._choice(self._flexible_times - 1)
                return usual if chosen is None else chosen
            case CountedTime(counts):
                step = turn.step if turn else None
                bpm = self._tempo_bpm(turn.part, step, time) if turn and step else None
                if bpm is None:
                    hint = _hint_without_tempo(step, time)
                    fault = Diagnostic("error", f"{time}, but no tempo to count them at", place, hint)
                    self._faults[fault] = None
                    return Duration(Fraction(counts))
                return Duration(counts * 60 / bpm)

    def _tempo_bpm(
        self, part: Part, step: MoveStep | RestStep | TalkStep, time: CountedTime
    ) -> Fraction | None:
        """What `32 counts` are counted at: the move's beat, or the music's; `8 reps` at the move's tempo."""
        tempo = step.tempo if isinstance(step, MoveStep) else None
        if time.unit == "rep":
            return 60 / tempo.repetition_seconds if tempo else None
        if tempo is not None and tempo.beat is not None:
            return tempo.beat
        bed = bed_settings(self._session, part, step)
        return bed.bpm if bed else None


def _hint_without_tempo(step: MoveStep | RestStep | TalkStep | None, time: CountedTime) -> str:
    """What to add so that `time` can be counted."""
    if time.unit == "rep":
        own = "`tempo: 3-1-2-0` to the move" if isinstance(step, MoveStep) else ""
        return f"add {own}, or write a time" if own else "only a move has repetitions; write a time"
    if isinstance(step, MoveStep) and step.tempo is not None:
        return "a lifting tempo has repetitions: write `8 reps`, or a time"
    own = "`tempo: 120 bpm` to the move, or " if isinstance(step, MoveStep) else ""
    return f"add {own}`bed: {{pulse: 120 bpm}}`, or `tempo:` to its files"


def _with_flex(time: PlanTimeValue, part: Part) -> PlanTimeValue:
    """A rest or a change of a part that may be so much shorter or longer; one that is there stays there."""
    if part.flex is None or part.flex.rest is None or not isinstance(time, FixedTime) or not time.length:
        return time
    by = part.flex.rest.length
    least = min(time.length, LEAST_CHOSEN)
    return FlexibleTime(max(least, time.length - by), time.length + by, time.length)


def _working_times(move: MoveStep, part: Part) -> Iterator[tuple[Stage | None, PlanTimeValue, Place | None]]:
    """Stage (None where the move has just one), time, and the place that gives the time."""
    for owner in (move, part):
        if owner.work is not None:
            yield None, owner.work, owner.place_of("work")
            return
        if owner.stages is not None:
            for stage in owner.stages:
                yield stage, stage.work, stage.place_of("work")
            return
    raise CuetrackError(f"the move {move.move!r} has no working time; add `work: 40s` to it")


def _too_much(end: Instant, phases_before: int, place: Place | None) -> Diagnostic | None:
    """What is said where the session passes a limit."""
    if end - Instant(Fraction(0)) > MAX_TIME:
        message = "the session passes 24 h here"
    elif phases_before >= MAX_PHASES:
        message = f"the session has more than {MAX_PHASES} phases"
    elif end.seconds.denominator.bit_length() > _MOST_DENOMINATOR_BITS:
        message = "too many times up to here are different fractions of a second"
        return Diagnostic("error", message, place, "write times such as 8.5 s, and tempos such as 120 bpm")
    else:
        return None
    return Diagnostic("error", message, place, _FEWER_ROUNDS)


def with_lead_out(phases: tuple[Phase, ...], length: Duration, place: Place | None) -> tuple[Phase, ...]:
    """`phases` and a rest of `length` after the last of them.

    Raises:
        PlanError: the session would be longer than 24 h, or have more than `MAX_PHASES` phases.
    """
    if not length:
        return phases
    last = phases[-1]
    end = last.end + length
    too_much = _too_much(end, len(phases), place)
    if too_much:
        raise PlanError([too_much])
    closing = Phase(last.index + 1, "rest", last.end, end, None, None, None, None, None, last.turn + 1, place)
    return (*phases, closing)
