"""Where the cues of one session are gathered, and every fault on the way."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.model import MoveStep, Session
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.calls import CallSettings, settings_for
from cuetrack.timeline.cues import Call, CountWord, Cue, Phrase, Priority, Room, SlateCue, ToneCue, Window
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.runs import Run

# How far a call may stray from its instant and still be true. Common practice, no source.
CALL_EARLY = Duration(Fraction(1))

_ZERO = Duration(Fraction(0))
_ROOM_WORDS = {"work": "working time"}


class CueCollector:
    """Makes cues of the common kinds and keeps all of them; a fault is kept once."""

    def __init__(self, session: Session, phases: tuple[Phase, ...]) -> None:
        self.session = session
        self.phases = phases
        self.cues: list[Cue] = []
        self.faults: dict[Diagnostic, None] = {}
        self._starts = [phase.start for phase in phases]

    def settings(self, phase: Phase) -> CallSettings:
        """The calls that hold in `phase`."""
        move = phase.step if isinstance(phase.step, MoveStep) else None
        levels = (self.session, phase.part, move, phase.stage)
        return settings_for(level.calls if level else None for level in levels)

    def phase_index_at(self, mark: Instant) -> int:
        """The phase that `mark` lies in; the last one for the very end."""
        return bisect_right(self._starts, mark) - 1

    def following(self, run: Run) -> Phase | None:
        """The phase after `run`; None at the session's end."""
        index = run.phases[-1].index + 1
        return self.phases[index] if index < len(self.phases) else None

    def fault(self, message: str, place: Place | None, hint: str) -> None:
        """Keeps an error on the coach's line."""
        self.faults[Diagnostic("error", message, place, hint)] = None

    def tone(self, sound: str, mark: Instant, place: Place | None, *, under_words: bool = False) -> None:
        """A tone on its mark."""
        index = self.phase_index_at(mark)
        if sound == "slate":
            self.cues.append(SlateCue(sound, mark, index, place))
        else:
            self.cues.append(ToneCue(sound, mark, index, place, under_words))

    def count_word(
        self,
        phrase: Phrase,
        mark: Instant,
        window: Window,
        room: Room,
        place: Place | None,
        *,
        closes: bool = False,
    ) -> None:
        """A counted word whose perceived onset stands on its mark."""
        self.cues.append(CountWord(phrase, mark, window, self.phase_index_at(mark), room, place, closes))

    def call(
        self,
        phrase: Phrase,
        mark: Instant,
        within: Sequence[Phase],
        late: Duration,
        place: Place | None,
        *,
        gives_way: bool = False,
    ) -> None:
        """A phrase that wants to begin on its mark, may be a little early or up to `late` late."""
        window, index = window_around(mark, within, late), self.phase_index_at(mark)
        self.cues.append(
            Call(phrase, mark, window, mark, "start", index, None, place, Priority.WARNING, gives_way)
        )


def window_around(mark: Instant, within: Sequence[Phase], late: Duration) -> Window:
    """Where a call about `mark` may lie: inside `within`, a little early or up to `late` late."""
    return Window(max(within[0].start, mark - CALL_EARLY), within[-1].end, mark + late)


def room_into(run: Run, beside: Duration, more: Duration = _ZERO) -> Room:
    """What gives the coming `run` more time before it: its gap, and `more` of it for what grows with it.

    Where there is no gap it is a new one, which needs `beside` beside the phrase itself.
    """
    word, where = ("change", "in") if run.is_second_side else ("rest", "before")
    where = f"{where} {run.move.move!r}"
    if run.before is not None and not run.gap:
        return Room(word, where, beside, is_new=True)
    return room_in(run.gap, where, more)


def room_in(phases: Sequence[Phase], where: str, more: Duration = _ZERO) -> Room:
    """What a coach would lengthen: the longest of `phases`; the lead-in where there is none."""
    longest = max(phases, key=lambda phase: phase.length, default=None)
    if longest is None:
        return Room("lead-in", where, more)
    return Room(_ROOM_WORDS.get(longest.kind, longest.kind), where, longest.length + more)
