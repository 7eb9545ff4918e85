"""NAME.timeline.json → what has to be heard, as far as the file says; the sounds are made elsewhere."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from cuetrack.errors import TimelineError
from cuetrack.sound.tone_table import TONES
from cuetrack.take.expected import ExpectedCue, ExpectedPhase
from cuetrack.timebase import Instant

# 24 h of many cues come to some 30 MB.
_MOST_BYTES = 200_000_000
# A day at the highest rate.
_MOST_FRAMES = 24 * 3600 * 384_000

_TEMPO = re.compile(r"\d{1,200}([/.]\d{1,200})?", re.ASCII)

Frames = Annotated[int, Field(ge=0, le=_MOST_FRAMES)]
Decibels = Annotated[float, Field(ge=-200, le=200)]


class _Speech(BaseModel):
    model_config = ConfigDict(extra="ignore")
    voice: str
    language: str
    lexicon: dict[str, str] = {}


class _Phase(BaseModel):
    model_config = ConfigDict(extra="ignore")
    index: int
    kind: str
    part: str | None
    round: int | None
    move: str | None
    stage: str | None
    side: str | None
    start_frame: Frames
    frames: Frames


class _Cue(BaseModel):
    model_config = ConfigDict(extra="ignore")
    kind: Literal["announcement", "call", "count", "prompt", "tone", "click", "slate"]
    text: str | None
    name: str | None
    mark_frame: Frames
    start_frame: Frames
    frames: Annotated[Frames, Field(ge=1)]
    phase: int
    line: int | None
    tempo: str | None = None
    gain_db: Decibels = 0.0


class _Document(BaseModel):
    model_config = ConfigDict(extra="ignore")
    cuetrack: Literal[1]
    session: str
    sample_rate: Annotated[int, Field(ge=8_000, le=384_000)]
    frames: Annotated[Frames, Field(ge=1)]
    mix: str
    gain_db: Decibels | None = None
    bed: bool = True
    speech: _Speech | None = None
    phases: Annotated[list[_Phase], Field(min_length=1)]
    cues: list[_Cue]


@dataclass(frozen=True, slots=True)
class Spoken:
    """A text as it was spoken."""

    text: str
    tempo: Fraction


@dataclass(frozen=True, slots=True)
class TimelineFile:
    """What a timeline says, at the rate that was asked for; `rate_hz` is the one it was written at.

    `tones` and `spoken` say what each `sound` of the cues is, and by how many dB it is changed; `speech` is
    who speaks: voice, language and lexicon, None where the file does not say it.
    """

    session: str
    rate_hz: int
    mix: str
    frames: int
    cues: tuple[ExpectedCue, ...]
    phases: tuple[ExpectedPhase, ...]
    tones: Mapping[str, tuple[str, float]]
    spoken: Mapping[str, tuple[Spoken, float]]
    speech: tuple[str, str, Mapping[str, str]] | None
    gain_db: float | None
    has_bed: bool


def read_timeline(path: Path, rate_hz: int | None = None) -> TimelineFile:
    """The timeline in a file, its frames at `rate_hz`; at its own rate if None.

    Raises:
        TimelineError: it cannot be read, or is no timeline.
    """
    document = _document(path)
    own_hz, rate_hz = document.sample_rate, rate_hz or document.sample_rate

    def moved(frame: int) -> int:
        return Instant(Fraction(frame, own_hz)).to_frame(rate_hz)

    tones: dict[str, tuple[str, float]] = {}
    spoken: dict[str, tuple[Spoken, float]] = {}
    cues = []
    for cue in document.cues:
        key = f"{cue.gain_db} {cue.tempo} {cue.text or cue.name}"
        if cue.text is not None:
            spoken[key] = Spoken(cue.text, _tempo(path, cue.tempo)), cue.gain_db
        elif cue.name is not None and cue.name in TONES:
            tones[key] = cue.name, cue.gain_db
        start = moved(cue.start_frame)
        frames = moved(cue.start_frame + cue.frames) - start
        mark = moved(cue.mark_frame)
        cues.append(ExpectedCue(cue.kind, cue.text, cue.name, mark, start, frames, cue.phase, cue.line, key))
    phases = tuple(
        ExpectedPhase(
            *(one.index, one.kind, one.part, one.round, one.move, one.stage, one.side),
            moved(one.start_frame),
            moved(one.start_frame + one.frames) - moved(one.start_frame),
        )
        for one in document.phases
    )
    speech = document.speech
    return TimelineFile(
        document.session,
        own_hz,
        document.mix,
        moved(document.frames),
        tuple(sorted(cues, key=lambda one: one.start_frame)),
        phases,
        tones,
        spoken,
        (speech.voice, speech.language, speech.lexicon) if speech else None,
        document.gain_db,
        document.bed,
    )


def _document(path: Path) -> _Document:
    what = "give the NAME.timeline.json that a render writes, or the plan"
    try:
        if path.exists() and not path.is_file():  # a pipe or a device may never end
            raise TimelineError(f"{path} is no ordinary file; {what}")
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except OSError as error:
        raise TimelineError(f"{path} cannot be read: {error.strerror or error}; {what}") from None
    if len(data) > _MOST_BYTES:
        raise TimelineError(f"{path} has more than {_MOST_BYTES:,} bytes; {what}")
    try:
        return _Document.model_validate(json.loads(data))
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "its top level"
        raise TimelineError(f"{path} is no timeline: {where}: {first['msg'].lower()}; {what}") from None
    except (ValueError, RecursionError):
        raise TimelineError(f"{path} is no JSON; {what}") from None


def _tempo(path: Path, text: str | None) -> Fraction:
    try:
        # The exponent in `1e999999999` alone would fill the memory.
        tempo = Fraction(text or "1") if _TEMPO.fullmatch(text or "1") else Fraction(0)
    except ZeroDivisionError:
        tempo = Fraction(0)
    if not Fraction(1, 4) <= tempo <= 4:
        raise TimelineError(
            f"{path} is no timeline: a tempo is {(text or '')[:40]!r}, allowed are 1/4 to 4; render it anew"
        )
    return tempo
