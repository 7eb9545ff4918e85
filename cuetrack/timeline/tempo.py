"""The tempo of a run: clicks on its beats, the calls of a lifting tempo, tones at equal intervals.

Everything stands at its own position from the start of the run, an exact multiple: none is the sum of
others, so nothing drifts. Every side of a move begins anew. Where the voice counts into the run, the word
on its start is that of the count.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.model import Tempo
from cuetrack.sound.tone_table import PLAN_TONES
from cuetrack.timebase import Duration, Instant, duration_text
from cuetrack.timeline.calls import CountSetting
from cuetrack.timeline.collector import CueCollector, room_in
from cuetrack.timeline.cues import ClickCue, Phrase, TempoWord, Window
from cuetrack.timeline.runs import Run

# Of the four figures: what is said, and what sounds.
_CALLED = (
    ("tempo-down", "tempo-down"),
    ("tempo-hold", "tempo-hold"),
    ("tempo-up", "tempo-up"),
    ("tempo-hold", "tempo-hold"),
)
_AS_FAST_AS_YOU_CAN = "tempo-fast"


def add_tempo(cues: CueCollector, run: Run, start: CountSetting) -> None:
    """Adds what the move's `tempo` and `every` sound and say; `start` is the count into the run."""
    tempo = run.move.tempo
    if tempo is not None and tempo.lift is not None:
        _call_lifting(cues, run, tempo, start)
    elif tempo is not None and tempo.beat is not None:
        _click(cues, run, tempo, tempo.beat)
        for number, mark in enumerate(_repetitions(run, tempo) if tempo.count else ()):
            _say(cues, run, _number(tempo, number), mark, start)
    _add_intervals(cues, run, start)


def unfinished_repetitions(runs: Iterable[Run]) -> tuple[Diagnostic, ...]:
    """What is told of runs whose time is no whole number of repetitions that are called or counted."""
    told: dict[Diagnostic, None] = {}
    for run in runs:
        tempo = run.move.tempo
        if tempo is not None and (tempo.lift is not None or tempo.count):
            over = run.length.seconds % tempo.repetition_seconds
            if over:
                told[_unfinished(run, tempo, over)] = None
    return tuple(told)


def _unfinished(run: Run, tempo: Tempo, over: Fraction) -> Diagnostic:
    whole = run.length - Duration(over)
    number = whole.seconds // tempo.repetition_seconds
    repetitions = "1 repetition" if number == 1 else f"{number} repetitions"
    of = f" of {tempo.lift}" if tempo.lift is not None else ""
    message = f"{repetitions}{of} fit the {duration_text(run.length)} of {run.move.move!r};"
    message += f" the last {duration_text(Duration(over))} are too short for another, which is not called"
    longer = duration_text(whole + Duration(tempo.repetition_seconds))
    hint = f"{longer} of work end with a whole one, as `work: {number or 1} rep{'s' * (number > 1)}` does"
    if number:
        hint = f"{duration_text(whole)} or {hint}"
    return Diagnostic("warning", message, _place(run), hint)


def _place(run: Run) -> Place | None:
    return run.move.place_of("tempo")


def _marks(run: Run, interval_seconds: Fraction) -> Iterator[Instant]:
    """The start of the run and every interval after it, the end of the run left out."""
    number = 0
    while (offset := Duration(number * interval_seconds)) < run.length:
        yield run.start + offset
        number += 1


def _repetitions(run: Run, tempo: Tempo) -> Iterator[Instant]:
    """The start of each repetition that is over by the end of the run."""
    whole = run.length.seconds // tempo.repetition_seconds
    return (run.start + Duration(number * tempo.repetition_seconds) for number in range(whole))


def _click(cues: CueCollector, run: Run, tempo: Tempo, bpm: Fraction) -> None:
    for number, mark in enumerate(_marks(run, 60 / bpm)):
        accented = tempo.accent is not None and number % tempo.accent == 0
        _sound(cues, run, "click-accent" if accented else "click", mark)


def _call_lifting(cues: CueCollector, run: Run, tempo: Tempo, start: CountSetting) -> None:
    stretches = _stretches(tempo)
    for number, repetition in enumerate(_repetitions(run, tempo)):
        for index, (offset, word, tone) in enumerate(stretches):
            mark = repetition + offset
            if tempo.by in {"tones", "both"}:
                _sound(cues, run, tone, mark)
            if tempo.count and index == 0:
                _say(cues, run, _number(tempo, number), mark, start)
            elif tempo.by in {"voice", "both"}:
                _say(cues, run, Phrase(word), mark, start)


def _stretches(tempo: Tempo) -> list[tuple[Duration, str, str]]:
    """What a repetition is made of: how long after its start, the word and the tone; none without time."""
    if tempo.lift is None:
        return []
    figures = list(zip(tempo.lift.figures, tempo.lift.lengths_seconds, _CALLED, strict=True))
    if tempo.first == "lifting":
        figures = figures[2:] + figures[:2]
    found, offset = [], Duration(Fraction(0))
    for figure, seconds, (word, tone) in figures:
        if seconds:
            found.append((offset, _AS_FAST_AS_YOU_CAN if figure is None else word, tone))
        offset += Duration(seconds)
    return found


def _number(tempo: Tempo, repetition: int) -> Phrase:
    """The number of a repetition, which begins again after `tempo.count` of them."""
    again = tempo.count if tempo.count is not True else repetition + 1
    return Phrase("number", {"n": str(repetition % again + 1)})


def _add_intervals(cues: CueCollector, run: Run, start: CountSetting) -> None:
    every = run.move.every
    if every is None:
        return
    place = run.move.place_of("every")
    for mark in _marks(run, every.interval.length.seconds):
        # The long tone of a count into the run is its first one.
        if mark != run.start or not start.by_tones:
            cues.tone(PLAN_TONES[every.tone], mark, place)


def _sound(cues: CueCollector, run: Run, sound: str, mark: Instant) -> None:
    cues.cues.append(ClickCue(sound, mark, cues.phase_index_at(mark), _place(run)))


def _say(cues: CueCollector, run: Run, phrase: Phrase, mark: Instant, start: CountSetting) -> None:
    if mark == run.start and start.by_voice:
        return
    window = Window(run.lead[0].start if run.lead else run.start, run.end)
    room = room_in(run.phases, f"of {run.move.move!r}")
    cues.cues.append(TempoWord(phrase, mark, window, cues.phase_index_at(mark), room, _place(run)))
