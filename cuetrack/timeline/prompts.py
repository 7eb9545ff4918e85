"""What only the coach hears: how long still, what comes next, the keywords of the notes.

Prompts come before the class hears of a change, and give way to everything else that is spoken. When
they come is common practice, no source.
"""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise, zip_longest

from cuetrack.plan.model import MoveStep, TalkStep
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.collector import CueCollector
from cuetrack.timeline.cues import Phrase, Priority, Prompt, Window
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.runs import Run

_AFTER_START = Duration(Fraction(3, 2))
_LATE = Duration(Fraction(5))
# Before the end of the work, what comes next; not within the last seconds, which are counted.
_NEXT_AHEAD, _NEXT_CLEAR = Duration(Fraction(20)), Duration(Fraction(4))
_LEAST_WORK = Duration(Fraction(15))
_TALK_LEFT = Duration(Fraction(10))
# A shorter talk or stage is over before anything about it is said.
_LEAST_NOTED = Duration(Fraction(5))

# An asterisk with a space behind it begins a line of a list.
_KEYWORD = re.compile(r"\*(?!\s)([^*]+)(?<!\s)\*")
_LIST_SIGNS = "-*•– "
_SENTENCE_END = re.compile(r"[.!?…;]\s|\n")
_MOST_WORDS = 6


def add_prompts(cues: CueCollector, runs: tuple[Run, ...]) -> None:
    """Adds the prompts of the whole session."""
    # Where two fall on one instant, what concerns more of the session comes first.
    for before, phase in pairwise(cues.phases):
        if before.part is not None and phase.part is not None and phase.part is not before.part:
            _prompt_part(cues, phase)
    for run, following in zip_longest(runs, runs[1:]):
        if run.length >= _LEAST_WORK:
            _prompt_work(cues, run)
            _prompt_next(cues, run, following)
    for phase in cues.phases:
        if isinstance(phase.step, TalkStep) and phase.length >= _LEAST_NOTED:
            _prompt_talk(cues, phase, phase.step)


def keywords(notes: str | None) -> str:
    """What of the notes is spoken: the words in *asterisks*, else the beginning of the first sentence.

    >>> keywords("Who it is *for*. Stop if *anything hurts*.")
    'for, anything hurts'
    >>> keywords("Band, chair, mat. Stop if anything hurts.")
    'Band, chair, mat'
    """
    marked = [" ".join(words.split()) for words in _KEYWORD.findall(notes or "")]
    if marked:
        return ", ".join(marked)
    first = _SENTENCE_END.split((notes or "").strip().lstrip(_LIST_SIGNS), maxsplit=1)[0]
    return " ".join(first.split()[:_MOST_WORDS]).rstrip(" .,:;")


def _prompt_work(cues: CueCollector, run: Run) -> None:
    """How long the run lasts and what to think of; and again for each later stage that has notes."""
    first, *later = run.phases
    notes = keywords(run.move.notes) or _stage_keywords(first)
    slots = {"seconds": _whole(run.length), "keywords": notes}
    _add(cues, Phrase("prompt-work", slots), run.start + _AFTER_START, run.end, first)
    for phase in later:
        if _stage_keywords(phase) and phase.length >= _LEAST_NOTED:
            slots = {"seconds": _whole(phase.length), "keywords": _stage_keywords(phase)}
            _add(cues, Phrase("prompt-work", slots), phase.start + _AFTER_START, phase.end, phase)


def _stage_keywords(phase: Phase) -> str:
    return keywords(phase.stage.notes if phase.stage else None)


def _prompt_next(cues: CueCollector, run: Run, following: Run | None) -> None:
    ahead = min(_NEXT_AHEAD, run.length * Fraction(1, 2))
    slots = {"move": "", "side": ""}
    if following is not None:
        same = following.is_second_side
        slots = {"move": "" if same else following.move.move, "side": following.phases[0].side or ""}
    key = "prompt-last" if following is None else "prompt-next" if slots["move"] else "prompt-side"
    mark = run.end - ahead
    _add(cues, Phrase(key, slots), mark, run.end - _NEXT_CLEAR, cues.phases[cues.phase_index_at(mark)])


def _prompt_talk(cues: CueCollector, phase: Phase, step: TalkStep) -> None:
    slots = {"seconds": _whole(phase.length), "keywords": keywords(step.notes)}
    _add(cues, Phrase("prompt-talk", slots), phase.start + _AFTER_START, phase.end, phase)
    if phase.length >= _TALK_LEFT * 2:
        left = Phrase("prompt-left", {"seconds": str(_TALK_LEFT.seconds)})
        _add(cues, left, phase.end - _TALK_LEFT, phase.end, phase)


def _prompt_part(cues: CueCollector, phase: Phase) -> None:
    """How much of the session is left, to the whole minute, where a part begins."""
    left = cues.phases[-1].end - phase.start
    minutes = (left.seconds + 30) // 60
    if phase.part is not None and minutes:
        slots = {"part": phase.part.part, "seconds": str(60 * minutes)}
        _add(cues, Phrase("prompt-part", slots), phase.start + _AFTER_START, cues.phases[-1].end, phase)


def _whole(length: Duration) -> str:
    """To the whole second: a prompt need not be exact, but short."""
    return str(round(length.seconds))


def _add(cues: CueCollector, phrase: Phrase, mark: Instant, latest_end: Instant, phase: Phase) -> None:
    step = phase.step
    place = step.place_of("move") if isinstance(step, MoveStep) else phase.place
    window = Window(mark, latest_end, mark + _LATE)
    cues.cues.append(
        Prompt(
            phrase,
            mark,
            window,
            mark,
            "start",
            cues.phase_index_at(mark),
            None,
            place,
            Priority.PROMPT,
            gives_way=True,
        )
    )
