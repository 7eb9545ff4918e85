"""A session with a promised length and times that are left open → the phases that keep the promise.

What is said needs room: each flexible time is at least as long as the words that lie in it, as far as
their length can be estimated without a voice. All is chosen in whole seconds; where fixed times leave a
fraction over, the last time that has room for it takes it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from cuetrack.errors import Diagnostic, Place, PlanError
from cuetrack.plan.model import MoveStep, Session
from cuetrack.timebase import Duration, duration_text
from cuetrack.timeline.equal_sides import solved_with_equal_sides
from cuetrack.timeline.phases import LEAST_CHOSEN, Phase
from cuetrack.timeline.solve import Kind

# So many open times are named in a message, and so many spans of lengths.
_MOST_NAMED = 6
_MOST_SPANS = 3


@dataclass(frozen=True, slots=True)
class Chosen:
    """What became of one flexible time of a plan: `seconds` are its lengths as they come.

    `needed` is the least that the words in it leave it, above its own `shortest` only where they do.
    """

    name: str
    place: Place | None
    seconds: tuple[Fraction, ...]
    shortest: Duration
    longest: Duration
    usual: Duration
    needed: Duration


@dataclass(frozen=True, slots=True)
class ChosenRounds:
    """What became of a number of rounds that a plan leaves open; `usual` is the part's own."""

    part: str
    place: Place | None
    rounds: int
    fewest: int
    most: int
    usual: int


@dataclass(frozen=True, slots=True)
class _Open:
    """The flexible phases of one line of a plan, by their numbers among all flexible phases."""

    first: Phase
    numbers: tuple[int, ...]
    needed: Duration

    @property
    def is_sided(self) -> bool:
        """Whether both sides of a move have this time, which must stay equal."""
        return self.first.kind == "work" and self.first.side is not None

    @property
    def name(self) -> str:
        """What it is called in messages."""
        part, step, kind = self.first.part, self.first.step, self.first.kind
        where = f" of {part.part!r}" if part else ""
        if not isinstance(step, MoveStep):
            return f"{kind}{where}"
        if kind == "work":
            stage = f"{self.first.stage.stage!r} of " if self.first.stage else ""
            return f"work at {stage}{step.move!r}"
        if kind == "change":
            is_own = step.change is not None or part is None or part.change is None
            return "change of side" + (f" in {step.move!r}" if is_own else where)
        return f"rest after a move{where}" if step.rest is None else f"rest after {step.move!r}"

    @property
    def name_with_needs(self) -> str:
        """Its name, and what its words need where they need more than it asks for."""
        time = self.first.flexible
        if time is None or self.needed <= time.shortest:
            return self.name
        return f"{self.name}: {duration_text(min(self.needed, time.longest))} or more for what is called"

    def kind(self) -> Kind | None:
        """As the solver takes it; None if no whole second lies in its range."""
        time = self.first.flexible
        if time is None:
            raise ValueError("only flexible phases can be chosen")
        shortest = ceil(max(time.shortest, min(self.needed, time.longest), LEAST_CHOSEN).seconds)
        longest = floor(time.longest.seconds)
        if shortest > longest:
            return None
        preferred = min(max(round(time.middle().seconds), shortest), longest)
        return Kind(self.name, len(self.numbers), shortest, longest, preferred, self.first.place)


# What the words in a flexible time need, by the place in the plan that leaves it open.
Needed = Mapping[Place | None, Duration]


def chosen_lengths(
    phases: Sequence[Phase], length: Duration, needed: Needed
) -> tuple[dict[int, Duration], tuple[Chosen, ...]] | None:
    """The length of every flexible phase, by its number among them, so that all phases last `length`.

    Args:
        phases: laid out with any lengths for what is flexible.
        length: what was promised.
        needed: the least that their words leave to flexible times.

    Returns:
        None where no choice comes to `length`.
    """
    flexible = [phase for phase in phases if phase.flexible is not None]
    opened = [(one, kind) for one in _opened(flexible, needed) if (kind := one.kind()) is not None]
    taken = {number for one, _ in opened for number in one.numbers}
    end = phases[-1].end - phases[0].start
    rest = length - end + sum((flexible[number].length for number in sorted(taken)), Duration(Fraction(0)))
    whole, fraction = divmod(rest.seconds, 1)
    solution = solved_with_equal_sides(
        [kind for _, kind in opened], [one.is_sided for one, _ in opened], int(whole)
    )
    if solution is None:
        return None
    lengths = {
        number: Fraction(seconds)
        for (one, _), own in zip(opened, solution.seconds, strict=True)
        for number, seconds in zip(one.numbers, own, strict=True)
    }
    if fraction and not _take_fraction(opened, lengths, fraction):
        return None
    chosen = tuple(_chosen(one, [lengths[number] for number in one.numbers]) for one, _ in opened)
    return {number: Duration(seconds) for number, seconds in lengths.items()}, chosen


def shortest_and_longest(phases: Sequence[Phase], needed: Needed) -> tuple[Duration, Duration]:
    """How long the session can be at least and at most, as its times and words allow."""
    flexible = [phase for phase in phases if phase.flexible is not None]
    least = most = phases[-1].end - phases[0].start
    for one in _opened(flexible, needed):
        kind = one.kind()
        if kind is None:
            continue
        for number in one.numbers:
            least += Duration(Fraction(kind.shortest)) - flexible[number].length
            most += Duration(Fraction(kind.longest)) - flexible[number].length
    return least, most


def open_names(phases: Sequence[Phase], needed: Needed) -> list[str]:
    """What the times are called that are left open, and what their words need."""
    flexible = [phase for phase in phases if phase.flexible is not None]
    return [one.name_with_needs for one in _opened(flexible, needed)]


def chosen_rounds(session: Session, done: Session) -> tuple[ChosenRounds, ...]:
    """What became of the rounds that `session` leaves open; none where it promises no length."""
    if session.length is None:
        return ()
    return tuple(
        ChosenRounds(
            part.part,
            part.flex.place_of("rounds"),
            its.rounds,
            part.flex.rounds.fewest,
            part.flex.rounds.most,
            part.rounds,
        )
        for part, its in zip(session.parts, done.parts, strict=True)
        if part.flex is not None and part.flex.rounds is not None
    )


def unkept(session: Session, limits: Sequence[tuple[Duration, Duration]], names: Sequence[str]) -> PlanError:
    """That no choice comes to the promised length: how short and how long it can be, and what to change.

    `limits` are the shortest and longest session with each number of rounds, `names` what is left open.
    """
    promised = session.length.length if session.length else Duration(Fraction(0))
    spans: list[tuple[Duration, Duration]] = []
    for least, most in sorted(limits):
        if spans and least <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(most, spans[-1][1]))
        else:
            spans.append((least, most))
    message = f"the session can last {_spans_text(spans, promised)}, not {duration_text(promised)}"
    open_rounds = [repr(part.part) for part in session.parts if part.flex and part.flex.rounds]
    hint = _unkept_hint(spans, promised, list(dict.fromkeys(names)), open_rounds)
    if any(least <= promised <= most for least, most in spans):
        message = f"no choice of what is left open comes to {duration_text(promised)}"
        hint = "sides are equally long, in whole seconds; leave a rest open too, such as `rest: 20s..30s`"
    return PlanError([Diagnostic("error", message, session.place_of("length"), hint)])


def _spans_text(spans: Sequence[tuple[Duration, Duration]], promised: Duration) -> str:
    """The spans of lengths; of many, those just below and above what was promised."""
    above = bisect_left(spans, (promised, promised))
    shown = spans if len(spans) <= _MOST_SPANS else spans[max(0, above - 1) : above + 1]
    return " or ".join(
        duration_text(least) if least == most else f"{duration_text(least)} to {duration_text(most)}"
        for least, most in shown
    )


def _unkept_hint(
    spans: Sequence[tuple[Duration, Duration]], promised: Duration, names: list[str], open_rounds: list[str]
) -> str:
    """What to change: times by how much, which of them are open, the rounds, or the promise."""
    nearest = min((end for span in spans for end in span), key=lambda end: abs((end - promised).seconds))
    by = duration_text(Duration(abs((promised - nearest).seconds)))
    shorter, fewer = ("shorter", "fewer") if promised < nearest else ("longer", "more")
    open_times = f" ({_named(names, '; ')})" if names else ""
    # Between two numbers of rounds, others change nothing.
    is_between = spans[0][0] < promised < spans[-1][1]
    rounds = f", or allow {fewer} rounds of {_named(open_rounds, ', ')}"
    rounds = rounds if open_rounds and not is_between else ""
    promise = f"or promise `length: {duration_text(nearest)}`"
    return f"let times be {shorter} by {by} in all{open_times}{rounds}; {promise}"


def _named(names: list[str], between: str) -> str:
    more = [f"{len(names) - _MOST_NAMED} more"] if len(names) > _MOST_NAMED else []
    return between.join([*names[:_MOST_NAMED], *more])


def _opened(flexible: Sequence[Phase], needed: Needed) -> list[_Open]:
    """Flexible phases by the line that they come from."""
    # A stage of a part is one kind for all moves of the part.
    groups: dict[object, list[int]] = {}
    for number, phase in enumerate(flexible):
        groups.setdefault((phase.place, phase.flexible, phase.kind), []).append(number)
    zero = Duration(Fraction(0))
    return [
        _Open(
            flexible[numbers[0]],
            tuple(numbers),
            needed.get(flexible[numbers[0]].place, zero),
        )
        for numbers in groups.values()
    ]


def _take_fraction(
    opened: Sequence[tuple[_Open, Kind]], lengths: dict[int, Fraction], fraction: Fraction
) -> bool:
    """Adds a fraction of a second to the last time that has room for it."""
    for one, _ in reversed(opened):
        time = one.first.flexible
        if time is None or one.is_sided:
            continue
        for number in reversed(one.numbers):
            if lengths[number] + fraction <= time.longest.seconds:
                lengths[number] += fraction
                return True
    return False


def _chosen(one: _Open, seconds: Sequence[Fraction]) -> Chosen:
    time = one.first.flexible
    if time is None:
        raise ValueError("only flexible phases can be chosen")
    return Chosen(
        one.name,
        one.first.place,
        tuple(seconds),
        time.shortest,
        time.longest,
        time.middle(),
        max(time.shortest, min(one.needed, time.longest)),
    )
