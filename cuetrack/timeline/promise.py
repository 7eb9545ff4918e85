"""A session with a promised length and times that are left open → the phases that keep the promise.

What is said needs room: each flexible time is at least as long as the words that lie in it, as far as
their length can be estimated without a voice. All is chosen in whole seconds; where fixed times leave a
fraction over, the last time that has room for it takes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import ceil, floor

from cuetrack.errors import Diagnostic, Place, PlanError
from cuetrack.plan.model import Part, Session
from cuetrack.timebase import Duration, duration_text
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.solve import Kind, Solution, near_common_change, solved

# Parts whose rounds are left open are tried in all combinations up to this number.
_MOST_COMBINATIONS = 2000


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
        part, step = self.first.part, self.first.step
        move = getattr(step, "move", None)
        where = f" of {part.part!r}" if part else ""
        if self.first.kind == "work":
            stage = f"{self.first.stage.stage!r} of " if self.first.stage else ""
            return f"work at {stage}{move!r}"
        if self.first.kind == "rest" and move is not None:
            return f"rest after a move{where}"
        return f"{'change of side' if self.first.kind == 'change' else self.first.kind}{where}"

    def kind(self) -> Kind | None:
        """As the solver takes it; None if no whole second lies in its range."""
        time = self.first.flexible
        if time is None:
            raise ValueError("only flexible phases can be chosen")
        shortest = ceil(max(time.shortest, min(self.needed, time.longest)).seconds)
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
    solution = _with_equal_sides(opened, int(whole))
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


def open_names(phases: Sequence[Phase]) -> list[str]:
    """What the times are called that are left open."""
    return [one.name for one in _opened([phase for phase in phases if phase.flexible is not None], {})]


def round_choices(session: Session) -> Iterator[Session]:
    """The session with every number of rounds that it leaves open, those nearest to its own first."""
    ranges = [
        range(part.flex.rounds.fewest, part.flex.rounds.most + 1) if part.flex and part.flex.rounds else None
        for part in session.parts
    ]
    options = [
        [part.rounds] if among is None else sorted(among, key=lambda n: (abs(n - part.rounds), n))
        for part, among in zip(session.parts, ranges, strict=True)
    ]
    own = [part.rounds for part in session.parts]

    def change(rounds: tuple[int, ...]) -> int:
        return sum(abs(number - usual) for number, usual in zip(rounds, own, strict=True))

    combinations = []
    for combination in product(*options):
        combinations.append(combination)
        if len(combinations) == _MOST_COMBINATIONS:
            break
    for rounds in sorted(combinations, key=change):  # stable: the earlier part keeps its own
        yield session.model_copy(update={"parts": _with_rounds(session.parts, rounds)})


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
    nearest = min((end for span in spans for end in span), key=lambda end: abs((end - promised).seconds))
    between = " or ".join(
        duration_text(least) if least == most else f"{duration_text(least)} to {duration_text(most)}"
        for least, most in spans
    )
    message = f"the session can last {between}, not {duration_text(promised)}"
    by = duration_text(Duration(abs((promised - nearest).seconds)))
    shorter = "shorter" if promised < nearest else "longer"
    open_times = f" ({', '.join(dict.fromkeys(names))})" if names else ""
    hint = f"let times be {shorter} by {by} in all{open_times}; or promise `length: {duration_text(nearest)}`"
    return PlanError([Diagnostic("error", message, session.place_of("length"), hint)])


def _with_rounds(parts: Sequence[Part], rounds: Sequence[int]) -> tuple[Part, ...]:
    return tuple(
        part if part.rounds == number else part.model_copy(update={"rounds": number})
        for part, number in zip(parts, rounds, strict=True)
    )


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


def _with_equal_sides(opened: Sequence[tuple[_Open, Kind]], total: int) -> Solution | None:
    """The solver's answer, but with one time for both sides of every move."""
    kinds = [kind for _, kind in opened]
    solution = solved(near_common_change(kinds, total), total)
    if solution is None:
        return None
    for index, ((one, kind), seconds) in enumerate(zip(opened, solution.seconds, strict=True)):
        if not one.is_sided or min(seconds) == max(seconds):
            continue
        best: Solution | None = None
        for fixed in (seconds[0], seconds[-1]):
            same = Kind(kind.name, kind.count, fixed, fixed, fixed, kind.place)
            pinned = [*opened[:index], (one, same), *opened[index + 1 :]]
            found = _with_equal_sides(pinned, total)
            if found and (best is None or _cost(kinds, found) < _cost(kinds, best)):
                best = found
        return best
    return solution


def _cost(kinds: Sequence[Kind], solution: Solution) -> int:
    return sum(
        (second - kind.preferred) ** 2
        for kind, own in zip(kinds, solution.seconds, strict=True)
        for second in own
    )


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
