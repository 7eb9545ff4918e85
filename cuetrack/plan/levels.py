"""A session and its level → the version of each move that is done: what it says, how long it lasts."""

from __future__ import annotations

from typing import get_args

from cuetrack.plan.fields import Level
from cuetrack.plan.model import MoveStep, Option, Part, Session


def option_of(session: Session, move: MoveStep) -> Option | None:
    """The move's option at the session's level, None for the standard version or where there is none."""
    written = {"easier": move.easier, "harder": move.harder}.get(session.level)
    return Option(say=written, work=None, stages=None) if isinstance(written, str) else written


def other_levels(session: Session) -> tuple[Level, ...]:
    """The levels, beside the session's own, at which something of it differs."""
    moves = [step for part in session.parts for step in part.steps if isinstance(step, MoveStep)]
    options = {key for key in ("easier", "harder") for move in moves if getattr(move, key) is not None}
    differ = options | {"standard"} if options else options
    return tuple(level for level in get_args(Level) if level in differ and level != session.level)


def at_level(session: Session) -> Session:
    """The session with the working times of its level; the same phases where the plan changes none."""
    parts = tuple(_part_at_level(session, part) for part in session.parts)
    return session if parts == session.parts else session.model_copy(update={"parts": parts})


def _part_at_level(session: Session, part: Part) -> Part:
    steps = tuple(
        _move_at_level(session, step) if isinstance(step, MoveStep) else step for step in part.steps
    )
    return part if steps == part.steps else part.model_copy(update={"steps": steps})


def _move_at_level(session: Session, move: MoveStep) -> MoveStep:
    option = option_of(session, move)
    if option is None or (option.work is None and option.stages is None):
        return move
    changed = move.model_copy(update={"work": option.work, "stages": option.stages})
    for key in ("work", "stages"):
        if (place := option.place_of(key)) is not None:
            changed._value_places = {**changed._value_places, key: place}
    return changed
