"""A validated plan → its timeline: phases and cues at exact instants, a pure function of the plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import zip_longest

from cuetrack.errors import Diagnostic, Place, PlanError
from cuetrack.plan.levels import at_level
from cuetrack.plan.model import MoveStep, Session
from cuetrack.plan.series import Day
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed import BedSpan, bed_spans, shortened_fades
from cuetrack.timeline.bed_settings import beds_without_music
from cuetrack.timeline.calling import (
    announce,
    call_change_of_side,
    call_halfway,
    call_praise,
    call_stages,
    call_time_left,
)
from cuetrack.timeline.collector import CueCollector
from cuetrack.timeline.counting import count_into, count_out
from cuetrack.timeline.cues import Announcement, Cue, ToneCue, Wordless
from cuetrack.timeline.own_cues import add_free_cues
from cuetrack.timeline.phases import Phase, laid_out, number_of_turns, with_lead_out
from cuetrack.timeline.promise import (
    Chosen,
    ChosenRounds,
    Needed,
    chosen_lengths,
    chosen_rounds,
    open_names,
    shortest_and_longest,
    unkept,
)
from cuetrack.timeline.prompts import add_prompts
from cuetrack.timeline.rounds import has_open_rounds, round_choices, with_fewest_rounds
from cuetrack.timeline.runs import Run, runs_of
from cuetrack.timeline.series_day import announce_day
from cuetrack.timeline.slates import add_slates
from cuetrack.timeline.tempo import add_tempo, unfinished_repetitions
from cuetrack.timeline.written_needs import written_needs

DEFAULT_LEAD_OUT = Duration(Fraction(2))
MAX_CUES = 250_000
# Numbers of rounds are tried until so many phases were laid out.
_MOST_TRIED_PHASES = 20_000


@dataclass(frozen=True, slots=True)
class Timeline:
    """A session on the programme axis.

    `phases` tile it: the first begins at zero, each begins where its neighbour ends. `cues` are in the
    order of their marks. `bed` says where which music plays, `chosen` and `rounds` what became of times
    and rounds that the plan leaves open; `notes` are what the coach is to be told.
    """

    session: Session
    phases: tuple[Phase, ...]
    cues: tuple[Cue, ...]
    bed: tuple[BedSpan, ...] = ()
    chosen: tuple[Chosen, ...] = ()
    rounds: tuple[ChosenRounds, ...] = ()
    notes: tuple[Diagnostic, ...] = ()

    @property
    def end(self) -> Instant:
        """Where the programme ends."""
        return self.phases[-1].end

    def plan_line(self, place: Place | None) -> int | None:
        """The line of the plan at a place; None for one in the house style beside it."""
        plan = self.session.place
        return place.line if place and plan and place.file == plan.file else None


def compiled(
    session: Session, *, prompts: bool = False, needed: Needed | None = None, day: Day | None = None
) -> Timeline:
    """The timeline of `session`, with the `prompts` that only the coach hears if they are wanted.

    It begins with its `day` if it is one of a series.

    Where a length is promised and times are left open, they are chosen so that it is met; `needed` is the
    least that the words in them leave.

    Raises:
        PlanError: cues that cannot exist, counts without a tempo, a session beyond the limits; all of
            them at once, each on the coach's line; or no choice of what is left open comes to the
            promised length.
    """
    written = at_level(session)
    session, phases, chosen = _as_promised(written, needed or {})
    runs = runs_of(phases)
    phases = _closed(session, phases)
    cues = CueCollector(session, phases)
    for run, following in zip_longest(runs, runs[1:]):
        _add_run(cues, run)
        if following is None or following.phases[0].part is not run.phases[0].part:
            call_praise(cues, run, cues.settings(run.phases[-1]))
        _check_number(cues, run.move.place_of("move"))
    for phase in phases:
        if phase.step is not None and not isinstance(phase.step, MoveStep):
            add_free_cues(cues, phase.step.cues, (phase,))
            _check_number(cues, phase.step.place)
    if day is not None and day.is_said:
        announce_day(cues, day)
    add_slates(cues)
    if prompts:
        add_prompts(cues, runs)
    spans = bed_spans(session, phases)
    for node in beds_without_music(session):
        cues.fault("no music plays here", node.place, "add `pulse: 120 bpm` or `file: …`")
    if cues.faults:
        raise PlanError(cues.faults)
    notes = (*unfinished_repetitions(runs), *shortened_fades(spans))
    rounds = chosen_rounds(written, session)
    return Timeline(session, phases, _in_order(cues.cues), spans, chosen, rounds, notes)


def _as_promised(session: Session, needed: Needed) -> tuple[Session, tuple[Phase, ...], tuple[Chosen, ...]]:
    """The session with its rounds, its phases, and what was chosen so that they last as long as promised."""
    if session.length is None or not has_open_rounds(session):
        phases = laid_out(session)
        if session.length is None or all(phase.flexible is None for phase in phases):
            return session, phases, ()
    base = with_fewest_rounds(session)
    closed = _closed(base, laid_out(base))
    least_needed = written_needs(session, closed)
    for place, least in needed.items():
        least_needed[place] = max(least, least_needed.get(place, least))
    promised, limits, tried_phases = session.length.length, [], 0
    fewest = shortest_and_longest(closed, least_needed)
    choices = round_choices(session, promised, fewest, lambda some: shortest_and_longest(some, least_needed))
    for tried, (least, most) in choices:
        limits.append((least, most))
        if not least <= promised <= most or tried_phases > _MOST_TRIED_PHASES:
            continue
        phases = laid_out(tried)
        tried_phases += max(len(phases), number_of_turns(tried))
        found = chosen_lengths(_closed(tried, phases), promised, least_needed)
        if found is not None:
            lengths, chosen = found
            return tried, laid_out(tried, lengths.get), chosen
    raise unkept(session, limits, open_names(closed, least_needed))


def _check_number(cues: CueCollector, place: Place | None) -> None:
    if len(cues.cues) > MAX_CUES:
        raise PlanError([Diagnostic("error", f"more than {MAX_CUES} cues", place, "write fewer rounds")])


def _add_run(cues: CueCollector, run: Run) -> None:
    """All cues of one run: into it, through it and out of it."""
    into, out_of = cues.settings(run.phases[0]), cues.settings(run.phases[-1])
    counted_from = count_into(cues, run, into)
    if run.is_second_side:
        call_change_of_side(cues, run, into, counted_from)
    else:
        announce(cues, run, into, counted_from)
    call_stages(cues, run)
    call_halfway(cues, run, out_of)
    add_tempo(cues, run, into.start)
    counted_out_from = count_out(cues, run, out_of)
    call_time_left(cues, run, out_of, counted_out_from)
    for phase in run.phases:
        if phase.stage is not None:
            add_free_cues(cues, phase.stage.cues, (phase,))
    add_free_cues(cues, run.move.cues, run.phases)


def _closed(session: Session, phases: tuple[Phase, ...]) -> tuple[Phase, ...]:
    """The phases with their lead-out: as written, or enough to hear a slate or the end of counted work."""
    if session.lead_out is not None:
        return with_lead_out(phases, session.lead_out.length, session.place_of("lead-out"))
    if session.slate:
        return with_lead_out(phases, DEFAULT_LEAD_OUT, session.place_of("slate"))
    if phases[-1].kind != "work":
        return phases
    finish = CueCollector(session, phases).settings(phases[-1]).finish
    return phases if finish.by.value == "none" else with_lead_out(phases, DEFAULT_LEAD_OUT, phases[-1].place)


def _in_order(cues: list[Cue]) -> tuple[Cue, ...]:
    """By mark; where a count out of one move and into the next say the same at once, once.

    A tone that only one of them sounds under words is the soft one.
    """
    seen: dict[object, Cue] = {}
    for cue in cues:
        if isinstance(cue, Wordless):
            key: object = (cue.sound, cue.mark)
        else:
            key = (cue.phrase.key, tuple(cue.phrase.slots.items()), cue.mark)
        if key not in seen or (isinstance(cue, ToneCue) and cue.under_words):
            seen[key] = cue
    return tuple(_taking_turns(sorted(seen.values(), key=lambda cue: cue.mark)))


def _taking_turns(cues: Iterable[Cue]) -> Iterator[Cue]:
    """The cues, each phrase with its turn among those of its key."""
    turns: dict[str, dict[object, int]] = {}
    for cue in cues:
        if isinstance(cue, Wordless):
            yield cue
            continue
        known = turns.setdefault(cue.phrase.key, {})
        same = tuple(cue.phrase.slots.items()) if isinstance(cue, Announcement) else len(known)
        turn = known.setdefault(same, len(known))
        yield replace(cue, phrase=replace(cue.phrase, turn=turn))
