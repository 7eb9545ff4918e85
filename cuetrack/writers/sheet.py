"""Arrangement → the cue sheet for the wall or the floor: rows that fit a page, and the same as CSV and HTML.

A move stands on one row with all its stages and sides; where a part has rounds, it has a clock a round.
The CSV has one row a phase.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, zip_longest
from math import floor
from typing import Literal

from cuetrack.conform.arrangement import Arrangement
from cuetrack.tables.csv_writing import csv_bytes
from cuetrack.timebase import frame_clock_text, frame_seconds
from cuetrack.writers.html_page import html_page
from cuetrack.writers.page_words import cautions, page_words
from cuetrack.writers.scenes import Scene, scenes_of

Paper = Literal["a4", "letter"]

# What is read from some steps away, and what can still be read standing. Common practice, no source.
_MOST_POINTS, _LEAST_POINTS = 15.0, 9.0
# A4 is 842 points high and US letter 792; the margins take 62.
_PAGE_POINTS = 720.0

_CSV_HEADINGS = (
    *("clock", "part", "round", "phase", "move", "stage", "side", "seconds"),
    *("setup", "equipment", "easier", "harder", "notes"),
)


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A move with its rest, a rest alone, or a talk: what is printed of it, "" where there is nothing.

    `clocks` are where it begins, one a round. `seconds` are those of its stages, or of its one time, on
    one side; `change` those between the sides, `rest` those after it.
    """

    clocks: tuple[str, ...]
    title: str
    is_move: bool
    stages: tuple[str, ...]
    seconds: tuple[str, ...]
    sides: tuple[str, ...]
    change: str
    rest: str
    setup: str
    equipment: str
    easier: str
    harder: str
    notes: str

    @property
    def timed(self) -> tuple[tuple[str, str], ...]:
        """Each stage with its seconds; one without a name where the move has no stages."""
        return tuple(zip(self.stages or [""] * len(self.seconds), self.seconds, strict=True))

    @property
    def about(self) -> tuple[tuple[str, str], ...]:
        """What is said of it, each with the key of its heading; a setup needs none."""
        texts = (("", self.setup), ("equipment", self.equipment), ("easier", self.easier))
        return tuple(one for one in (*texts, ("harder", self.harder), ("", self.notes)) if one[1])


@dataclass(frozen=True, slots=True)
class SheetPart:
    """A part: its heading, and its rows."""

    title: str
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything that is printed, in the session's language, whose words are `words`."""

    title: str
    length: str
    equipment: str
    language: str
    parts: tuple[SheetPart, ...]
    words: Mapping[str, str]


def sheet_of(arrangement: Arrangement) -> Sheet:
    """The sheet of a session."""
    session, rate_hz = arrangement.timeline.session, arrangement.rate_hz
    words = page_words(session.language)
    parts = tuple(
        SheetPart(_part_title(steps[0][0], words), tuple(_rows(steps, words, rate_hz)))
        for steps in _steps_by_part(scenes_of(arrangement))
    )
    equipment = ", ".join(session.equipment or ())
    length = frame_clock_text(arrangement.frames, rate_hz)
    return Sheet(session.session, length, equipment, session.language or "en", parts, words)


def _steps_by_part(scenes: Sequence[Scene]) -> list[list[list[Scene]]]:
    """The scenes of each step, by part; a rest that is written out belongs to the step before."""
    parts: list[list[list[Scene]]] = []
    for _, group in groupby((one for one in scenes if one.part is not None), key=lambda one: one.turn):
        step = list(group)
        first, before = step[0], parts[-1][-1][-1] if parts else None
        if before is None or _begins_part(first, before):
            parts.append([step])
        elif first.kind == "rest" and first.round == before.round:
            parts[-1][-1] += step
        else:
            parts[-1].append(step)
    return parts


def _begins_part(first: Scene, before: Scene) -> bool:
    """Whether another part begins; one can be called as the one before it."""
    is_other = (first.part, first.rounds) != (before.part, before.rounds)
    return is_other or (first.round or 0) < (before.round or 0)


def _part_title(first: Scene, words: Mapping[str, str]) -> str:
    rounds = f" · {words['rounds'].format(first.rounds)}" if first.rounds > 1 else ""
    return f"{first.part or ''}{rounds}"


def _rows(steps: Sequence[list[Scene]], words: Mapping[str, str], rate_hz: int) -> Iterator[SheetRow]:
    """A row for each step of a round, with what all rounds have of it."""
    rounds = [list(group) for _, group in groupby(steps, key=lambda step: step[0].round)]
    for same in zip_longest(*rounds):
        yield _row([step for step in same if step is not None], words, rate_hz)


def _row(same: Sequence[Sequence[Scene]], words: Mapping[str, str], rate_hz: int) -> SheetRow:
    """One step, as it is done in each round."""
    scenes, timed = same[0], [_one_side(step) for step in same]
    first = scenes[0]
    sides = dict.fromkeys(words[one.side] for one in scenes if one.side)
    changes = [one.frames for step in same for one in step if one.kind == "change"]
    rests = [sum(one.frames for one in step[1:] if one.kind == "rest") for step in same]
    stages = tuple(one.stage or "" for one in timed[0])
    return SheetRow(
        clocks=tuple(_clock(step[0], rate_hz) for step in same),
        title=first.move or words["own-talk" if first.kind == "talk" else first.kind],
        is_move=first.kind == "work",
        stages=stages if any(stages) else (),
        seconds=tuple(_seconds([one.frames for one in each], rate_hz) for each in zip(*timed, strict=True)),
        sides=tuple(sides),
        change=_seconds(changes, rate_hz),
        rest=_seconds([frames for frames in rests if frames], rate_hz),
        setup=first.setup or "",
        equipment=", ".join(first.equipment),
        easier=first.easier or "",
        harder=first.harder or "",
        notes="\n".join(dict.fromkeys(one.notes for one in scenes if one.notes)),
    )


def _one_side(step: Sequence[Scene]) -> list[Scene]:
    """The work of a step on its first side, or its pause."""
    works = [one for one in step if one.kind == "work"]
    return [one for one in works if one.side == works[0].side] if works else [step[0]]


def _clock(scene: Scene, rate_hz: int) -> str:
    return frame_clock_text(scene.start_frame, rate_hz)


def _seconds(lengths_frames: Sequence[int], rate_hz: int) -> str:
    """Lengths in seconds, from the least to the most: `24–25`; "" for none."""
    if not lengths_frames:
        return ""
    texts = dict.fromkeys(seconds_text(frames, rate_hz) for frames in sorted(set(lengths_frames)))
    least, *more = texts
    return f"{least}–{more[-1]}" if more else least


def seconds_text(frames: int, rate_hz: int) -> str:
    """Seconds with one decimal, rounded half up, where they are not whole.

    >>> seconds_text(48_000, 48_000), seconds_text(12_000, 48_000)
    ('1', '0.3')
    """
    tenths = floor(frame_seconds(frames, rate_hz) * 10 + Fraction(1, 2))
    return str(tenths // 10) if tenths % 10 == 0 else f"{tenths // 10}.{tenths % 10}"


def sheet_csv(arrangement: Arrangement) -> bytes:
    """A row a phase; a spreadsheet opens it as it is."""
    rate_hz = arrangement.rate_hz
    return csv_bytes([_CSV_HEADINGS, *(_csv_row(one, rate_hz) for one in scenes_of(arrangement))])


def _csv_row(scene: Scene, rate_hz: int) -> tuple[str, ...]:
    texts = (scene.part, scene.round, scene.kind, scene.move, scene.stage, scene.side)
    about = (scene.setup, ", ".join(scene.equipment), scene.easier, scene.harder, scene.notes)
    whole = (_clock(scene, rate_hz), *texts, seconds_text(scene.frames, rate_hz), *about)
    return tuple("" if text is None else str(text) for text in whole)


def sheet_html(sheet: Sheet, *, paper: Paper = "a4") -> str:
    """The sheet as a page that prints on as few pages as it can, and can be read on a screen."""
    return html_page(
        "sheet.html",
        styles=["sheet.css"],
        more_style=f"@page {{ size: {paper}; }} :root {{ --size: {_print_points(sheet):.1f}pt; }}\n",
        sheet=sheet,
        words=sheet.words,
        cautions=cautions(sheet.words),
    )


def _print_points(sheet: Sheet) -> float:
    """A size of letters at which about as many lines as the sheet has fill one page."""
    lines = sum(2 + sum(_lines(row) for row in part.rows) for part in sheet.parts)
    return min(_MOST_POINTS, max(_LEAST_POINTS, _PAGE_POINTS / (1.35 * (lines + 6))))


def _lines(row: SheetRow) -> int:
    times = len(row.seconds) + bool(row.change) + bool(row.rest)
    return max(len(row.clocks), times, 1 + bool(row.sides), 1 + len(row.about))
