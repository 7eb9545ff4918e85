"""A timeline → turns: each move as it is done, with its sides and the rest that follows, and what it is."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, zip_longest

from cuetrack.plan.model import MoveStep, Part
from cuetrack.review.words import (
    COOL_DOWN,
    KIND_OF,
    WARM_UP,
    means_full_effort,
    names_one_of,
    positions_in,
    tag_word,
    words_in_name,
)
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.runs import Run, runs_of

_ZERO = Duration(Fraction(0))


@dataclass(frozen=True, slots=True)
class About:
    """What a move is: words of the lists, words of the plan's own, and whether it was read from the name.

    `position` is None where nothing, or more than one thing, is said of it.
    """

    words: frozenset[str]
    own: tuple[str, ...]
    position: str | None
    guessed: bool

    def of(self, kind: str) -> tuple[str, ...]:
        """Its words of one kind: region, pattern, position, effort, aim, style."""
        return tuple(word for word, its in KIND_OF.items() if its == kind and word in self.words)


@dataclass(frozen=True, slots=True)
class Turn:
    """One move as it is done once: its work on each side, one after the other.

    `work` is that of all sides, `set_length` the longest without a change of side. `rest` is the time
    until the next turn begins, None after the last one.
    """

    move: MoveStep
    part: Part
    runs: tuple[Run, ...]
    work: Duration
    left: Duration
    right: Duration
    set_length: Duration
    rest: Duration | None
    about: About


class Known:
    """What each move is, read once however often it is done."""

    def __init__(self) -> None:
        self._known: dict[int, tuple[MoveStep, About]] = {}

    def about(self, move: MoveStep) -> About:
        """What `move` is."""
        if id(move) not in self._known:
            self._known[id(move)] = (move, about_move(move))
        return self._known[id(move)][1]


def turns_of(timeline: Timeline) -> tuple[Turn, ...]:
    """All turns in the order in which they are done."""
    grouped = [tuple(runs) for _, runs in groupby(runs_of(timeline.phases), lambda run: run.phases[0].turn)]
    known = Known()
    return tuple(
        _turn(runs, following[0].start - runs[-1].end if following else None, known.about(runs[0].move))
        for runs, following in zip_longest(grouped, grouped[1:])
    )


def _turn(runs: tuple[Run, ...], rest: Duration | None, about: About) -> Turn:
    part, move = runs[0].phases[0].part, runs[0].move
    if part is None:
        raise TypeError("a run is made of work, and work belongs to a part")
    lengths = [(run.phases[0].side, run.length) for run in runs]
    left, right = (
        sum((length for its, length in lengths if its == side), _ZERO) for side in ("left", "right")
    )
    work = sum((length for _, length in lengths), _ZERO)
    longest = max((length for _, length in lengths), key=lambda length: length.seconds)
    return Turn(move, part, runs, work, left, right, longest, rest, about)


def about_move(move: MoveStep) -> About:
    """What a move is, by its tags; by its name where it has none.

    A position is looked for in the name and the setup too, whatever the tags say of the rest.
    """
    known = [(tag, tag_word(tag)) for tag in move.tags or ()]
    own = tuple(dict.fromkeys(tag for tag, word in known if word is None))
    said = {word for _, word in known if word is not None}
    guessed = not any(KIND_OF[word] in {"region", "pattern"} for word in said)
    in_name = words_in_name(move.move)
    words = said | {word for word in in_name if guessed and KIND_OF[word] != "position"}
    if means_full_effort(move.move) and not any(KIND_OF[word] == "effort" for word in said):
        words.add("full effort")
    return About(frozenset(words), own, _position(move, said, in_name), guessed)


def _position(move: MoveStep, said: set[str], in_name: tuple[str, ...]) -> str | None:
    """What is said first: tags, words of the name, the setup, what such a move usually starts from."""
    usual = tuple(word for word in in_name if KIND_OF[word] == "position")
    from_tags = tuple(word for word in said if KIND_OF[word] == "position")
    plain_words = positions_in(move.move) if len(usual) > 1 else ()
    for found in (from_tags, plain_words, usual, positions_in(move.setup or "")):
        if found:
            return found[0] if len(found) == 1 else None
    return None


def is_full_effort(about: About, part: Part) -> bool:
    """Whether a move asks for all that people have, or its part does and the move says nothing else."""
    return "full effort" in about.words or (not about.of("effort") and means_full_effort(part.part))


def is_warm_up(part: Part) -> bool:
    """Whether the part is called a warm-up."""
    return names_one_of(part.part, WARM_UP)


def is_cool_down(part: Part) -> bool:
    """Whether the part is called a cool-down."""
    return names_one_of(part.part, COOL_DOWN)


def loads(turn: Turn) -> bool:
    """Whether a turn is meant to load: no stretch, no breathing, outside warm-up and cool-down."""
    easy = {"stretch", "breathe"} & turn.about.words
    return not easy and not is_warm_up(turn.part) and not is_cool_down(turn.part)
