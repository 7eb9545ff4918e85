"""Parts whose rounds are left open → the sessions that can last as long as promised, the nearest first.

Every round of a part lasts as long as its others, so what a number of rounds comes to is computed, and only
what can keep the promise is laid out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import islice, product

from cuetrack.errors import PlanError
from cuetrack.plan.model import Part, Session
from cuetrack.timebase import Duration
from cuetrack.timeline.phases import Phase, laid_out

# Parts whose rounds are left open are tried in all combinations up to this number.
_MOST_COMBINATIONS = 2000

# The shortest and the longest that a session can be.
Limits = tuple[Duration, Duration]
# What they are for phases that are laid out.
Measure = Callable[[Sequence[Phase]], Limits]


def round_choices(
    session: Session, promised: Duration, fewest: Limits, measure: Measure
) -> Iterator[tuple[Session, Limits]]:
    """The session with choices of the rounds that it leaves open, and the limits that it then has.

    Those nearest to its own numbers come first; only itself comes where nothing is open. Where there are
    too many, what goes towards the promise comes behind the first of them, then the fewest and the most.

    Args:
        session: with its own numbers of rounds.
        promised: how long it is to last.
        fewest: the limits with the fewest rounds everywhere.
        measure: tells the limits of phases that are laid out.
    """
    lengths = _Lengths(session, fewest, measure)
    combinations = list(islice(product(*map(_options, session.parts)), _MOST_COMBINATIONS))
    chosen = sorted(combinations, key=lengths.change)  # stable: the earlier part keeps its own
    if len(combinations) == _MOST_COMBINATIONS:
        ends = [tuple(pick(_among(part)) for part in session.parts) for pick in (min, max)]
        chosen += [*lengths.towards(promised), *ends]
    for rounds in chosen:
        limits = lengths.limits(rounds)
        if limits is not None:
            yield _with_rounds(session, rounds), limits


class _Lengths:
    """How long a session is for each choice of rounds."""

    def __init__(self, session: Session, fewest: Limits, measure: Measure) -> None:
        self._parts = session.parts
        self._own = tuple(part.rounds for part in session.parts)
        self._fewest_rounds = tuple(part.rounds for part in with_fewest_rounds(session).parts)
        self._fewest = fewest
        self._more = [_more(session, part, measure) if _is_open(part) else None for part in session.parts]

    def change(self, rounds: Sequence[int]) -> int:
        """How far numbers of rounds are from the session's own."""
        return sum(abs(number - usual) for number, usual in zip(rounds, self._own, strict=True))

    def limits(self, rounds: Sequence[int]) -> Limits | None:
        """The shortest and the longest session with these rounds; None where it is too long for a day."""
        shortest, longest = self._fewest
        for number, least, more in zip(rounds, self._fewest_rounds, self._more, strict=True):
            if number == least:
                continue
            if more is None:
                return None
            shortest, longest = shortest + more[0] * (number - least), longest + more[1] * (number - least)
        return shortest, longest

    def towards(self, promised: Duration) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """The own rounds changed one by one, the later parts first, as far as the promise asks for it.

        And these with one more change, which goes beyond the promise where there is one.
        """
        rounds = list(self._own)
        limits = self.limits(rounds)
        if limits is None:
            rounds, limits = list(self._fewest_rounds), self._fewest
        by = 1 if limits[1] < promised else -1
        beyond = rounds
        left = [index for index in reversed(range(len(rounds))) if self._more[index] is not None]
        while left and not limits[0] <= promised <= limits[1]:
            still = []
            for index in left:
                more, number = self._more[index], rounds[index] + by
                if more is None or number not in _among(self._parts[index]):
                    continue
                changed = limits[0] + more[0] * by, limits[1] + more[1] * by
                is_beyond = changed[0] > promised if by > 0 else changed[1] < promised
                if is_beyond or changed == limits:
                    beyond = [*rounds[:index], number, *rounds[index + 1 :]]
                    continue
                rounds[index], limits = number, changed
                still.append(index)
                if limits[0] <= promised <= limits[1]:
                    break
            left = still
        return tuple(rounds), tuple(beyond)


def with_fewest_rounds(session: Session) -> Session:
    """The session with as few rounds as it leaves open."""
    fewest = [
        part.flex.rounds.fewest if part.flex and part.flex.rounds else part.rounds for part in session.parts
    ]
    return _with_rounds(session, fewest)


def has_open_rounds(session: Session) -> bool:
    """Whether a number of rounds can be chosen."""
    return any(map(_is_open, session.parts))


def _is_open(part: Part) -> bool:
    return part.flex is not None and part.flex.rounds is not None


def _options(part: Part) -> list[int]:
    """The numbers of rounds that a part may have, its own first."""
    return sorted(_among(part), key=lambda number: (abs(number - part.rounds), number))


def _among(part: Part) -> range:
    """The numbers of rounds that a part may have."""
    if part.flex is None or part.flex.rounds is None:
        return range(part.rounds, part.rounds + 1)
    return range(part.flex.rounds.fewest, part.flex.rounds.most + 1)


def _more(session: Session, part: Part, measure: Measure) -> Limits | None:
    """What one round more adds to the limits; None where a second one is too long for any session."""
    try:
        one, two = (
            measure(laid_out(_with_rounds(session.model_copy(update={"parts": (part,)}), (rounds,))))
            for rounds in (1, 2)
        )
    except PlanError:
        return None
    return two[0] - one[0], two[1] - one[1]


def _with_rounds(session: Session, rounds: Sequence[int]) -> Session:
    parts = tuple(
        part if part.rounds == number else part.model_copy(update={"rounds": number})
        for part, number in zip(session.parts, rounds, strict=True)
    )
    return session.model_copy(update={"parts": parts})
