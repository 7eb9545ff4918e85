"""Runs and their settings → cues: counts, stage calls, warnings, announcements, the coach's own.

Every cue gets an exact mark; a spoken one also gets the window that it may move in. A cue that cannot
exist at all (a count longer than the time before it) is a fault on the coach's line.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.model import FreeCue, MoveStep, Session
from cuetrack.plan.times import FromEnd, FromStart, Share
from cuetrack.sound.tone_table import COUNTDOWNS, PLAN_TONES
from cuetrack.timebase import Duration, Instant, duration_text, seconds_text
from cuetrack.timeline.calls import CallSettings, CountSetting, settings_for
from cuetrack.timeline.cues import (
    Announcement,
    Call,
    ClickCue,
    CountWord,
    Cue,
    Phrase,
    Priority,
    Room,
    SlateCue,
    ToneCue,
    Window,
)
from cuetrack.timeline.phases import Phase
from cuetrack.timeline.runs import Run

# From the last word to the start tone: 0.500 s in the International Jump Rope Union's timing tracks.
WORD_TO_COUNT = Duration(Fraction(1, 2))
# Speech keeps clear of the tone on the boundary before it. Common practice, no source.
AFTER_BOUNDARY = Duration(Fraction(4, 5))
# How far a call may stray from its instant and still be true. Common practice, no source.
CALL_EARLY = Duration(Fraction(1))
CALL_LATE = Duration(Fraction(2))

_ROOM_WORDS = {
    "lead-in": "lead-in",
    "work": "working time",
    "change": "change",
    "rest": "rest",
    "talk": "talk",
}


class Cueing:
    """Collects the cues of one session and every fault on the way."""

    def __init__(self, session: Session, phases: tuple[Phase, ...]) -> None:
        self._session = session
        self._phases = phases
        self.cues: list[Cue] = []
        self.faults: dict[Diagnostic, None] = {}

    def settings(self, phase: Phase) -> CallSettings:
        """The calls that hold in `phase`."""
        move = phase.step if isinstance(phase.step, MoveStep) else None
        levels = (self._session, phase.part, move, phase.stage)
        return settings_for(level.calls if level else None for level in levels)

    def add_run(self, run: Run, is_first: bool) -> None:
        """All cues that belong to one run: into it, through it and out of it."""
        into = self.settings(run.phases[0])
        out_of = self.settings(run.phases[-1])
        points = self._start_points(run, into.start)
        self._count(run, into.start, points, run.start, run.lead)
        self._go(run, into.start)
        counted_from = run.start - _seconds(points[0] if points else 0)
        if run.is_second_side:
            self._change_of_side(run, into, counted_from)
        else:
            self._announcement(run, into, counted_from, is_first)
        self._stages(run)
        self._clicks(run)
        self._halfway(run, out_of)
        self._finish(run, out_of)
        for phase in run.phases:
            if phase.stage is not None:
                self.add_free_cues(phase.stage.cues, (phase,))
        self.add_free_cues(run.move.cues, run.phases)

    # Counts

    def _start_points(self, run: Run, count: CountSetting) -> tuple[Fraction, ...]:
        """The count's points, checked against the time before the run."""
        time_before = _length(run.lead)
        what = f"the {seconds_text(time_before.seconds)} before {run.move.move!r}"
        room = _room(run.lead, run.phases[0])
        return self._fitting_points(count, time_before, what, room.word)

    def _fitting_points(
        self, count: CountSetting, available: Duration, what: str, room_word: str
    ) -> tuple[Fraction, ...]:
        if count.by.value == "none":
            return ()
        points = count.points.value
        if count.points.is_default:
            return tuple(point for point in points if point < available.seconds)
        if count.by_voice:
            for point in points:
                if point.denominator != 1:
                    message = f"a voice cannot count {duration_text(_seconds(point))}"
                    self._fault(message, count.points.place, "whole seconds, or `by: tones`")
        if points and points[0] > available.seconds:
            message = f"a count from {duration_text(_seconds(points[0]))} is longer than {what}"
            fits = int(available.seconds)
            longer = f"a {room_word} of {duration_text(_seconds(points[0]))} or more"
            self._fault(message, count.points.place, f"`count: {fits}` fits; or {longer}")
        return tuple(point for point in points if point <= available.seconds)

    def _count(
        self,
        run: Run,
        count: CountSetting,
        points: tuple[Fraction, ...],
        boundary: Instant,
        within: Sequence[Phase],
    ) -> None:
        """Tones and numbers at the points, and the long tone on the boundary."""
        tones = COUNTDOWNS[count.sound]
        place = count.points.place or count.by.place or run.move.place_of("move")
        for point in points:
            mark = boundary - _seconds(point)
            if count.by_tones:
                self._tone(tones.short, mark, place)
            if count.by_voice and point.denominator == 1:
                window = Window(within[0].start, boundary)
                self._count_word(Phrase("number", {"n": str(int(point))}), mark, window, within, place)
        if count.by_tones:
            self._tone(tones.long, boundary, place)

    def _go(self, run: Run, count: CountSetting) -> None:
        if count.by_voice and (run.lead or not count.by_tones):
            earliest = run.lead[0].start if run.lead else run.start
            window = Window(earliest, run.phases[0].end)
            self._count_word(Phrase("go"), run.start, window, run.lead or run.phases, count.by.place)

    def _finish(self, run: Run, settings: CallSettings) -> None:
        count = settings.finish
        what = f"the {seconds_text(run.length.seconds)} of {run.move.move!r}"
        points = self._fitting_points(count, run.length, what, "working time")
        self._count(run, count, points, run.end, run.phases)
        self._warning(run, settings, points)
        following = self._after(run)
        if not count.by_voice or (following is not None and following.kind in {"change", "work"}):
            return  # the change of side is called, the next run is counted into
        if following is not None:
            key = "finished" if following.part is None else "rest"
            window = Window(run.start, following.end)
            self._count_word(Phrase(key), run.end, window, (following,), count.by.place)

    def _after(self, run: Run) -> Phase | None:
        index = run.phases[-1].index + 1
        return self._phases[index] if index < len(self._phases) else None

    def _warning(self, run: Run, settings: CallSettings, points: tuple[Fraction, ...]) -> None:
        warn = settings.warn
        if warn.value is None or settings.finish.by.value == "none":
            return
        mark = run.end - warn.value
        counted_from = points[0] if points else Fraction(0)
        if warn.is_default and (run.length < warn.value * 2 or warn.value.seconds < counted_from + 3):
            return
        if warn.value >= run.length:
            message = f"a warning {duration_text(warn.value)} before the end comes before the start"
            what = f"{run.move.move!r} is worked for {duration_text(run.length)}"
            self._fault(message, warn.place, f"{what}; warn later, or write `warn: off`")
            return
        phrase = Phrase("seconds", {"seconds": str(warn.value.seconds)})
        window = _around(mark, run.start, run.end, late=CALL_EARLY)
        self._call(
            phrase,
            mark,
            window,
            run.phases,
            warn.place or run.move.place_of("move"),
            Priority.WARNING,
            gives_way=warn.is_default,
        )

    # Calls and announcements

    def _change_of_side(self, run: Run, settings: CallSettings, counted_from: Instant) -> None:
        if not settings.side.value:
            return
        phrase = Phrase("change-sides", {"side": run.phases[0].side or ""})
        self._into_run(run, phrase, counted_from, settings.side.place, Priority.CHANGE_OF_SIDE)

    def _announcement(self, run: Run, settings: CallSettings, counted_from: Instant, is_first: bool) -> None:
        parts, move, first = settings.announce.value, run.move, run.phases[0]
        option = {"easier": move.easier, "harder": move.harder}.get(self._session.level)
        slots = {
            "first": "yes" if is_first else "",
            "move": move.move if "name" in parts else "",
            "side": first.side or "",
            "stage": first.stage.stage if first.stage and "name" in parts else "",
            "option": option or "",
            "setup": (move.setup or "") if "setup" in parts else "",
            "equipment": ", ".join(move.equipment or ()) if "equipment" in parts else "",
        }
        if parts and any(slots[key] for key in ("move", "setup", "equipment")):
            place = move.place_of("move")
            self._into_run(run, Phrase("announce", slots), counted_from, place, Priority.ANNOUNCEMENT)

    def _into_run(
        self,
        run: Run,
        phrase: Phrase,
        counted_from: Instant,
        place: Place | None,
        priority: Priority,
    ) -> None:
        """A phrase that is fully spoken before the run is counted into.

        In a rest it comes at once, so that there is time to get ready; after the coach's own talk or in
        the middle of work it comes as late as it can.
        """
        lead, latest = run.lead, counted_from - WORD_TO_COUNT
        earliest = lead[0].start if lead else run.start
        quiet = [phase for phase in _after_talk(lead) if phase.kind != "work"]
        wanted, edge = (quiet[0].start + AFTER_BOUNDARY, "start") if quiet else (latest, "end")
        kind = Announcement if priority is Priority.ANNOUNCEMENT else Call
        self.cues.append(
            kind(
                phrase,
                run.start,
                Window(earliest, latest),
                wanted,
                "start" if edge == "start" else "end",
                lead[-1].index if lead else run.phases[0].index,
                _room(lead, run.phases[0]),
                place or run.move.place_of("move"),
                priority,
            )
        )

    def _stages(self, run: Run) -> None:
        for before, phase in zip(run.phases, run.phases[1:], strict=False):
            settings = self.settings(phase)
            place = settings.stage_ahead.place or (phase.stage.place_of("stage") if phase.stage else None)
            if settings.stage_tone.value is not None:
                tone = PLAN_TONES[settings.stage_tone.value]
                self._tone(tone, phase.start, settings.stage_tone.place or place)
            if settings.stage_ahead.value is None or phase.stage is None:
                continue
            latest = phase.start - settings.stage_ahead.value
            self.cues.append(
                Call(
                    Phrase("stage", {"stage": phase.stage.stage}),
                    phase.start,
                    Window(before.start, latest),
                    latest,
                    "end",
                    before.index,
                    _room((before,), before),
                    phase.stage.place_of("stage"),
                    Priority.STAGE,
                )
            )

    def _halfway(self, run: Run, settings: CallSettings) -> None:
        if settings.halfway.value:
            mark = run.start + run.length * Fraction(1, 2)
            window = _around(mark, run.start, run.end, late=CALL_LATE)
            self._call(
                Phrase("halfway"),
                mark,
                window,
                run.phases,
                settings.halfway.place,
                Priority.WARNING,
            )

    # Clicks and the coach's own cues

    def _clicks(self, run: Run) -> None:
        if run.move.tempo is None:
            return
        for beat in _beats(run.length, run.move.tempo):
            mark = run.start + beat
            self.cues.append(ClickCue("click", mark, self._phase_at(mark), run.move.place_of("tempo")))

    def add_free_cues(self, cues: Sequence[FreeCue], phases: Sequence[Phase]) -> None:
        """The coach's own cues, in the stretch of `phases` that they were written for."""
        start, end = phases[0].start, phases[-1].end
        for cue in cues:
            mark = _point_in(cue, start, end)
            if not start <= mark <= end:
                message = f"`at: {cue.at}` lies outside the {seconds_text((end - start).seconds)} it is in"
                hint = f"write 0s to {duration_text(end - start)}, or -1s and so on from the end"
                self._fault(message, cue.place_of("at"), hint)
                continue
            if cue.tone is not None:
                self._tone(PLAN_TONES[cue.tone], mark, cue.place_of("tone"))
            if cue.say is not None:
                phrase = Phrase("as-written", {"text": cue.say})
                window = _around(mark, start, end, late=CALL_LATE)
                self._call(phrase, mark, window, phases, cue.place_of("say"), Priority.FREE)

    # What all of them use

    def _fault(self, message: str, place: Place | None, hint: str) -> None:
        self.faults[Diagnostic("error", message, place, hint)] = None

    def _phase_at(self, mark: Instant) -> int:
        """The phase that begins at or before `mark`; the last one for the very end."""
        low, high = 0, len(self._phases)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self._phases[middle].start <= mark else (low, middle)
        return low

    def _tone(self, sound: str, mark: Instant, place: Place | None) -> None:
        kind = SlateCue if sound == "slate" else ToneCue
        self.cues.append(kind(sound, mark, self._phase_at(mark), place))

    def _count_word(
        self,
        phrase: Phrase,
        mark: Instant,
        window: Window,
        within: Sequence[Phase],
        place: Place | None,
    ) -> None:
        room = _room(within, within[0])
        self.cues.append(CountWord(phrase, mark, window, self._phase_at(mark), room, place))

    def _call(
        self,
        phrase: Phrase,
        mark: Instant,
        window: Window,
        within: Sequence[Phase],
        place: Place | None,
        priority: Priority,
        *,
        gives_way: bool = False,
    ) -> None:
        room, phase = _room(within, within[0]), self._phase_at(mark)
        self.cues.append(Call(phrase, mark, window, mark, "start", phase, room, place, priority, gives_way))


def _seconds(number: int | Fraction) -> Duration:
    return Duration(Fraction(number))


def _length(phases: Sequence[Phase]) -> Duration:
    return phases[-1].end - phases[0].start if phases else Duration(Fraction(0))


def _after_talk(phases: Sequence[Phase]) -> Sequence[Phase]:
    """The phases behind the last talk."""
    last_talk = max((i for i, phase in enumerate(phases) if phase.kind == "talk"), default=-1)
    return phases[last_talk + 1 :]


def _room(phases: Sequence[Phase], otherwise: Phase) -> Room:
    """What a coach would lengthen: the longest of `phases`."""
    longest = max(phases, key=lambda phase: phase.length, default=otherwise)
    if not phases:
        return Room("lead-in", Duration(Fraction(0)))
    return Room(_ROOM_WORDS[longest.kind], longest.length)


def _around(mark: Instant, start: Instant, end: Instant, *, late: Duration) -> Window:
    """A window about `mark` that stays between `start` and `end`."""
    return Window(max(start, mark - CALL_EARLY), end, mark + late)


def _beats(length: Duration, bpm: Fraction) -> Iterator[Duration]:
    """The beats in `length`, by position: none is the sum of others."""
    beat = 0
    while (at := Duration(beat * 60 / bpm)) < length:
        yield at
        beat += 1


def _point_in(cue: FreeCue, start: Instant, end: Instant) -> Instant:
    match cue.at:
        case FromStart(offset):
            return start + offset
        case FromEnd(offset):
            return end - offset
        case Share(percent):
            return start + (end - start) * (percent / 100)
