"""The kinds of cue, each a class of its own: where they stand is exact, what they say is a phrase.

A tone stands on its mark. A spoken cue has a mark too, and a window that its sound has to stay in;
where in the window it lies is decided when its real length is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Literal

from cuetrack.errors import Place
from cuetrack.timebase import Duration, Instant


class Priority(IntEnum):
    """Which of two spoken cues stays where it wants to be: the lower number.

    One that gives way comes after all that do not, whatever its number.
    """

    COUNT = 0
    CHANGE_OF_SIDE = 1
    STAGE = 2
    WARNING = 3
    ANNOUNCEMENT = 4
    FREE = 5
    PROMPT = 6


@dataclass(frozen=True, slots=True)
class Phrase:
    """What is to be said, before it is put into words: a key of the phrase tables and its slots.

    Phrases of one key take turns with their wordings: `turn` counts them through the session, but for
    announcements, where equal ones share a turn, so that a move is announced alike in every round.
    """

    key: str
    slots: Mapping[str, str] = field(default_factory=dict)
    turn: int = 0


@dataclass(frozen=True, slots=True)
class Window:
    """Where a spoken cue may lie: all of its sound between `earliest` and `latest_end`.

    `latest_start`, where given, also bounds its first sample: a cue that is much too late is wrong
    even if it still ends in time.
    """

    earliest: Instant
    latest_end: Instant
    latest_start: Instant | None = None


@dataclass(frozen=True, slots=True)
class Room:
    """What a coach can lengthen so that a spoken cue fits: `a rest of 30 s before 'Band row'`.

    `length` is what it lasts, and what more of it would go to a count that has been cut short. A room
    that `is_new` is not there yet: `length` is what it needs beside the phrase.
    """

    word: str
    where: str
    length: Duration
    is_new: bool = False


@dataclass(frozen=True, slots=True)
class Sounded:
    """A cue without words, on its mark; `sound` is a name of the tone table."""

    sound: str
    mark: Instant
    phase_index: int
    place: Place | None


@dataclass(frozen=True, slots=True)
class ToneCue(Sounded):
    """A tone: of a count, on a boundary, or of the coach's own.

    One that sounds `under_words` shares its mark with a counted word, and is softer so that the word is
    understood.
    """

    under_words: bool = False


@dataclass(frozen=True, slots=True)
class ClickCue(Sounded):
    """One beat of a tempo, or one stretch of a repetition."""


@dataclass(frozen=True, slots=True)
class SlateCue(Sounded):
    """The sound that lines up cameras."""


@dataclass(frozen=True, slots=True)
class CountWord:
    """A counted number, or the word on the boundary: its perceived onset stands on the mark.

    `room` lies before the mark, or behind it if the word `closes` what came before.
    """

    phrase: Phrase
    mark: Instant
    window: Window
    phase_index: int
    room: Room
    place: Place | None
    closes: bool = False

    @property
    def priority(self) -> Priority:
        """Counts never move."""
        return Priority.COUNT


@dataclass(frozen=True, slots=True)
class TempoWord(CountWord):
    """A word of a tempo or the number of a repetition, softly on its mark.

    It gives way to everything else that the class is told: where that lies it is left out.
    """


@dataclass(frozen=True, slots=True)
class SpokenCue:
    """A phrase that may move inside its window.

    `wanted` says where it lies if nothing is in its way: its start on that instant, or, with
    `wanted_edge="end"`, its end. `room` is None where a longer one would not help. A cue that
    `gives_way` is built in: it is placed after all others, and where there is no room left it is left
    out, which is told as a warning and is no error.
    """

    phrase: Phrase
    mark: Instant
    window: Window
    wanted: Instant
    wanted_edge: Literal["start", "end"]
    phase_index: int
    room: Room | None
    place: Place | None
    priority: Priority
    gives_way: bool = False


@dataclass(frozen=True, slots=True)
class Call(SpokenCue):
    """A call into the work: change of side, next stage, time left, halfway."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnLine(SpokenCue):
    """The coach's own line, at a point of the stretch that begins at `stretch_start`."""

    stretch_start: Instant


@dataclass(frozen=True, slots=True)
class Announcement(SpokenCue):
    """What comes next: the move's name and side, its setup and equipment."""


@dataclass(frozen=True, slots=True)
class Prompt(SpokenCue):
    """What only the coach hears: how long still, what comes next, the notes' keywords."""


Wordless = ToneCue | ClickCue | SlateCue
Movable = Call | OwnLine | Announcement | Prompt
Cue = Wordless | CountWord | Movable


def kind_of(cue: Cue) -> str:
    """The cue's kind as files name it: announcement, call, count, prompt, tone, click or slate."""
    match cue:
        case ToneCue():
            return "tone"
        case ClickCue():
            return "click"
        case SlateCue():
            return "slate"
        case CountWord():
            return "count"
        case Call() | OwnLine():
            return "call"
        case Announcement():
            return "announcement"
        case Prompt():
            return "prompt"
