"""Arrangement → what is to be seen at each moment: one scene a phase, in whole frames.

Player, sheet, chapters, markers, picture, overlay and the countdown in the terminal all show scenes, so that
they agree with each other and with the sound.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cuetrack.conform.arrangement import Arrangement
from cuetrack.plan.model import MoveStep, Option
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.phases import Phase, PhaseKind
from cuetrack.timeline.runs import runs_of


@dataclass(frozen=True, slots=True)
class Scene:
    """One phase, half-open in frames; texts are the coach's own, None where there is none.

    `move` is what is done or changes sides here. `first` is the scene in which this move began on this
    side; for any other kind of phase it is the scene itself. `following` is the next scene of work that is
    another move, side or round than this one, None after the last. `turn` counts the steps as they are done.
    """

    index: int
    kind: PhaseKind
    start_frame: int
    end_frame: int
    part: str | None
    round: int | None
    rounds: int
    move: str | None
    stage: str | None
    side: str | None
    setup: str | None
    equipment: tuple[str, ...]
    easier: str | None
    harder: str | None
    notes: str | None
    turn: int
    first: int
    following: int | None
    line: int | None

    @property
    def frames(self) -> int:
        """How long it lasts."""
        return self.end_frame - self.start_frame


def scene_title(scene: Scene, words: Mapping[str, str]) -> str:
    """What a scene is called in one line: `Band row · paused · left side`, or `Rest`."""
    # Where sides change, the side is the one to come.
    named = scene.kind == "work" and scene.move
    side = words[scene.side] if scene.side else None
    return " · ".join(filter(None, (named or words[scene.kind], scene.stage, side)))


def scenes_of(arrangement: Arrangement) -> tuple[Scene, ...]:
    """One scene a phase, in order; they tile the programme."""
    phases, rate_hz = arrangement.timeline.phases, arrangement.rate_hz
    starts = [run.phases[0].index for run in runs_of(phases)]
    return tuple(
        _scene(phase, arrangement.timeline, rate_hz, first, following)
        for phase, (first, following) in zip(phases, _first_and_following(phases, starts), strict=True)
    )


def _first_and_following(phases: tuple[Phase, ...], starts: list[int]) -> Iterator[tuple[int, int | None]]:
    """For each phase where its run began (itself outside of runs), and where the next run begins."""
    begun, waiting = 0, list(reversed(starts))
    for phase in phases:
        while waiting and waiting[-1] <= phase.index:
            begun = waiting.pop()
        first = begun if phase.kind == "work" else phase.index
        yield first, (waiting[-1] if waiting else None)


def _scene(phase: Phase, timeline: Timeline, rate_hz: int, first: int, following: int | None) -> Scene:
    move = phase.move
    noted = phase.stage if phase.stage is not None and phase.stage.notes else phase.step
    return Scene(
        index=phase.index,
        kind=phase.kind,
        start_frame=phase.start.to_frame(rate_hz),
        end_frame=phase.end.to_frame(rate_hz),
        part=phase.part.part if phase.part else None,
        round=phase.round,
        rounds=phase.part.rounds if phase.part else 1,
        move=move.move if move else None,
        stage=phase.stage.stage if phase.stage else None,
        side=phase.side,
        setup=move.setup if move else None,
        equipment=move.equipment or () if move else (),
        easier=_said(move, "easier"),
        harder=_said(move, "harder"),
        notes=noted.notes if noted is not None else None,
        turn=phase.turn,
        first=first,
        following=following,
        line=timeline.plan_line(phase.place),
    )


def _said(move: MoveStep | None, level: str) -> str | None:
    option = getattr(move, level) if move is not None else None
    return option.say if isinstance(option, Option) else option
