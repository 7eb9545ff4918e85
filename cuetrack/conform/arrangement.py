"""Where every sound of a programme lies: integer frames, nothing left to decide."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from fractions import Fraction

from cuetrack.errors import Diagnostic
from cuetrack.sound.tone_table import TEMPO_WORDS_DB, UNDER_WORDS_DB
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import Cue, TempoWord, ToneCue, Wordless, kind_of


def tone_key(name: str, *, under_words: bool) -> str:
    """The key of a tone's samples, softened where words are counted over it."""
    return f"tone under words:{name}" if under_words else f"tone:{name}"


def speech_key(text: str, tempo: Fraction, *, soft: bool = False) -> str:
    """The key of a phrase's samples, spoken `tempo` times as fast as usual, and `soft` or not."""
    return f"{'soft ' if soft else ''}speech {tempo}:{text}"


@dataclass(frozen=True, slots=True)
class Placed:
    """One sound on the programme axis.

    `sound` is the key of its samples: `tone:NAME`, `tone under words:NAME`, or that of a phrase.
    `mark_frame` is the instant the cue is about; `start_frame` and `frames` are where its sound lies.
    `text` is what is spoken, `tempo` times as fast as usual; None for a sound without words.
    """

    sound: str
    start_frame: int
    frames: int
    mark_frame: int
    cue: Cue
    text: str | None = None
    tempo: Fraction = Fraction(1)

    @property
    def tone(self) -> str | None:
        """The name in the tone table, or None for speech."""
        return self.cue.sound if isinstance(self.cue, Wordless) else None

    @property
    def under_words(self) -> bool:
        """Whether it is a tone that is softened because words are counted over it."""
        return isinstance(self.cue, ToneCue) and self.cue.under_words

    @property
    def gain_db(self) -> float:
        """How much softer it is than its table or its voice gives: where it must not cover other words."""
        if isinstance(self.cue, TempoWord):
            return TEMPO_WORDS_DB
        return UNDER_WORDS_DB if self.under_words else 0.0


@dataclass(frozen=True, slots=True)
class Shortage:
    """How much longer the room around a phase has to be for a phrase that does not fit."""

    phase_index: int
    seconds: Fraction


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A programme: its rate, its length, and every sound in the order of its start.

    `shortages` are what does not fit; only an arrangement by estimated lengths has any.
    """

    timeline: Timeline
    rate_hz: int
    frames: int
    placed: tuple[Placed, ...]
    warnings: tuple[Diagnostic, ...] = ()
    shortages: tuple[Shortage, ...] = ()

    def holding(self, kinds: Collection[str]) -> Arrangement:
        """The same with the cues of some kinds only, each where it was."""
        return replace(self, placed=tuple(one for one in self.placed if kind_of(one.cue) in kinds))
