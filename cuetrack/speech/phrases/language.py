"""What a language has to bring: its wordings of every key, its sides, its units of time.

A wording that is one text is spoken as it comes out; a tuple holds sentences, each given its capital and
its full stop, and left out when a slot in it is empty. `[…]` is a piece left out in the same way.
`{slot:number}` and `{slot:time}` say what the slot holds; `{slot:side}` is "left side" and
`{slot:direction}` is "left"; `{slot:verbatim}` keeps its last full stop.

No wording puts an article or a case on a move's name, and none agrees with its gender, so any name fits.
None addresses anybody as one or many, formal or informal. The numbers of a count, the word that starts
the work and those of a lifting tempo have one wording only.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

# The first part of a BCP 47 tag is its language; what follows is script, region or variant.
_SUBTAGS = re.compile("[-_]")

Style = Literal["full", "terse"]
Wording = str | tuple[str, ...]


def primary_subtag(tag: str) -> str:
    """The language of a tag, whatever its region, in small letters.

    >>> primary_subtag("en-GB"), primary_subtag("de_AT"), primary_subtag("EST")
    ('en', 'de', 'est')
    """
    return _SUBTAGS.split(tag.casefold(), maxsplit=1)[0]


_ANNOUNCED = ("move", "side", "stage", "option", "setup", "equipment")

# Every key that the timeline may ask for, and the slots that may be filled in it.
SLOTS_BY_KEY: Mapping[str, tuple[str, ...]] = {
    "as-written": ("text",),
    "number": ("n",),
    "go": (),
    "rest": (),
    "finished": (),
    "halfway": (),
    "time-left": ("seconds",),
    "change-sides": ("side",),
    "stage": ("stage",),
    "announce": _ANNOUNCED,
    "announce-first": _ANNOUNCED,
    "last-round": _ANNOUNCED,
    "well-done": (),
    "series-day": ("day", "days"),
    "tempo-down": (),
    "tempo-hold": (),
    "tempo-up": (),
    "tempo-fast": (),
    "prompt-part": ("part", "seconds"),
    "prompt-work": ("seconds", "keywords"),
    "prompt-next": ("move", "side"),
    "prompt-side": ("side",),
    "prompt-last": (),
    "prompt-talk": ("seconds", "keywords"),
    "prompt-left": ("seconds",),
}


@dataclass(frozen=True, slots=True)
class Wordings:
    """The ways to say one key, in the order in which they take turns.

    A terse wording of ours says the least that is understood and never takes longer than any full one.
    A coach's own wordings may have no terse one.
    """

    full: tuple[Wording, ...]
    terse: tuple[Wording, ...]


@dataclass(frozen=True, slots=True)
class Unit:
    """A counted thing: "one second", "{} seconds".

    `agreement` are endings that a number changes before it, as (uno, ún) before segundos.
    """

    one: str
    many: str
    agreement: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class TimeWords:
    """How a length of time is said; `{}` are numbers in words."""

    hour: Unit
    minute: Unit
    second: Unit
    joint: str
    half_second: str
    one_and_a_half: str
    and_a_half: str
    tenths: str


@dataclass(frozen=True, slots=True)
class Side:
    """A side of the body: "left side", and shortly "left"."""

    side: str
    direction: str


@dataclass(frozen=True, slots=True)
class Language:
    """One language; `tag` is its BCP 47 primary subtag."""

    tag: str
    wordings: Mapping[str, Wordings]
    sides: Mapping[str, Side]
    time: TimeWords
