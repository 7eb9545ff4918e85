"""An arrangement and its sounds → what has to be heard where, and the programme's samples anywhere."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from cuetrack.conform.arrangement import Arrangement
from cuetrack.take.samples import Samples
from cuetrack.timeline.cues import kind_of


@dataclass(frozen=True, slots=True)
class ExpectedCue:
    """One cue as its file says it: frames at the programme's rate; `sound` is the key of its samples."""

    kind: str
    text: str | None
    name: str | None
    mark_frame: int
    start_frame: int
    frames: int
    phase: int
    line: int | None
    sound: str

    @property
    def end_frame(self) -> int:
        """The frame after its last."""
        return self.start_frame + self.frames

    @property
    def said(self) -> str:
        """What it is called where people read it."""
        return f'{self.kind} "{self.text}"' if self.text else f"{self.kind} {self.name}"


@dataclass(frozen=True, slots=True)
class ExpectedPhase:
    """One phase as its file says it."""

    index: int
    kind: str
    part: str | None
    round: int | None
    move: str | None
    stage: str | None
    side: str | None
    start_frame: int
    frames: int

    @property
    def end_frame(self) -> int:
        """The frame after its last."""
        return self.start_frame + self.frames

    @property
    def called(self) -> str:
        """Its name, and its side and stage."""
        words = [self.move or self.part or self.kind, self.side, self.stage]
        return ", ".join(word for word in words if word)


@dataclass(frozen=True)
class Expected:
    """A programme as it has to be heard.

    `cues` are in the order of their starts; `sounds` are their samples by key, at `rate_hz`. A cue without
    samples there (a voice that is not on this machine) is looked for nowhere. `has_bed` says whether music
    belongs under them.
    """

    session: str
    rate_hz: int
    frames: int
    cues: tuple[ExpectedCue, ...]
    phases: tuple[ExpectedPhase, ...]
    sounds: Mapping[str, Samples]
    has_bed: bool
    _starts: Sequence[int] = field(init=False, repr=False)
    _longest: int = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_starts", [cue.start_frame for cue in self.cues])
        object.__setattr__(self, "_longest", max((cue.frames for cue in self.cues), default=0))

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.frames / self.rate_hz

    def cue_seconds(self, number: int) -> float:
        """When the cue of this number begins."""
        return self.cues[number].start_frame / self.rate_hz

    def between(self, start_frame: int, end_frame: int) -> tuple[ExpectedCue, ...]:
        """The cues that sound between two frames."""
        first = bisect_left(self._starts, start_frame - self._longest)
        last = bisect_right(self._starts, end_frame - 1)
        return tuple(cue for cue in self.cues[first:last] if cue.end_frame > start_frame)

    def cue_samples(self, start_frame: int, frames: int) -> Samples:
        """The sum of the cues between frames, without bed and before mastering; float32, shape (frames,)."""
        made = np.zeros(frames, np.float32)
        for cue in self.between(start_frame, start_frame + frames):
            if cue.sound in self.sounds:
                add(made, self.sounds[cue.sound], cue.start_frame - start_frame)
        return made

    def phase_at(self, frame: int) -> ExpectedPhase:
        """The phase that a frame belongs to; the last one for those after the end."""
        return next((one for one in self.phases if one.end_frame > frame), self.phases[-1])


def add(made: Samples, samples: Samples, at_frame: int, gain_linear: float = 1.0) -> None:
    """Adds to `made`, in place, what of `samples` lies inside it when they begin on `at_frame` of it."""
    first, last = max(0, at_frame), min(len(made), at_frame + len(samples))
    if first < last:
        made[first:last] += np.float32(gain_linear) * samples[first - at_frame : last - at_frame]


def expected_of(arrangement: Arrangement, sounds: Mapping[str, Samples], *, has_bed: bool) -> Expected:
    """What has to be heard of an arrangement, which holds the cues of one mix."""
    timeline, rate_hz = arrangement.timeline, arrangement.rate_hz
    cues = tuple(
        ExpectedCue(
            kind=kind_of(placed.cue),
            text=placed.text,
            name=placed.tone,
            mark_frame=placed.mark_frame,
            start_frame=placed.start_frame,
            frames=placed.frames,
            phase=placed.cue.phase_index,
            line=timeline.plan_line(placed.cue.place),
            sound=placed.sound,
        )
        for placed in arrangement.placed
    )
    phases = tuple(
        ExpectedPhase(
            index=phase.index,
            kind=phase.kind,
            part=phase.part.part if phase.part else None,
            round=phase.round,
            move=phase.move.move if phase.move else None,
            stage=phase.stage.stage if phase.stage else None,
            side=phase.side,
            start_frame=phase.start.to_frame(rate_hz),
            frames=phase.end.to_frame(rate_hz) - phase.start.to_frame(rate_hz),
        )
        for phase in timeline.phases
    )
    name = timeline.session.session
    return Expected(name, rate_hz, arrangement.frames, cues, phases, sounds, has_bed)
