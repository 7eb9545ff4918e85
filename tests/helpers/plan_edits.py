"""Doing to a plan what the hint of a diagnostic says, as a coach would."""

from __future__ import annotations

import re
from collections.abc import Iterator
from copy import deepcopy

from cuetrack.errors import Diagnostic
from tests.helpers import by_hand
from tests.helpers.plans import Plan, Step, moves_of

_ROOM = re.compile(
    r"a (rest|talk|lead-in|change|stage|working time) of (.+) or more (before|in|after) '(.+)' fits"
)
_POINT = re.compile(r"`at: (.+)` fits")
_LINE = re.compile(r'the line "(.+)" takes')


def followed(plan: Plan, diagnostic: Diagnostic) -> Plan | None:
    """The plan changed as the hint says first; None where it names no room and no point."""
    changed = deepcopy(plan)
    room, point = _ROOM.match(diagnostic.hint or ""), _POINT.match(diagnostic.hint or "")
    if point:
        line = _LINE.match(diagnostic.message)
        assert line
        for cue in _all_cues(changed):
            if cue.get("say") == line[1]:
                cue["at"] = _as_written(point[1])
        return changed
    if room is None:
        return None
    word, length, where, name = room.groups()
    if where == "after":
        _lengthen_behind(changed, name, _as_written(length))
    elif word == "change":
        next(move for move in moves_of(changed) if move["move"] == name)["change"] = _as_written(length)
    elif word == "stage":
        _lengthen_stage_before(changed, name, _as_written(length))
    else:
        _lengthen_before(changed, name, word, _as_written(length))
    return changed


def _as_written(text: str) -> str:
    """`1 min 30 s` in the seconds that `by_hand` reads."""
    minutes = re.fullmatch(r"(\d+) min(?: (\d+) s)?", text)
    return f"{int(minutes[1]) * 60 + int(minutes[2] or 0)} s" if minutes else text


def _all_cues(plan: Plan) -> Iterator[Step]:
    for part in plan["parts"]:
        for step in part["steps"]:
            yield from step.get("cues", [])


def _lengthen_stage_before(plan: Plan, name: str, length: str) -> None:
    for owner in (*plan["parts"], *moves_of(plan)):
        names = [stage["stage"] for stage in owner.get("stages", [])]
        if name in names:
            owner["stages"][names.index(name) - 1]["work"] = length


def _lengthen_before(plan: Plan, name: str, word: str, length: str) -> None:
    """The longest phase of that kind in the gap before the move; a rest that is not there is put in."""
    found = by_hand.stretches(plan)
    first = next(i for i, s in enumerate(found) if s.kind == "work" and s.step and s.step["move"] == name)
    gap: list[by_hand.Stretch] = []
    for stretch in found[first - 1 :: -1] if first else []:
        if stretch.kind == "work":
            break
        gap.insert(0, stretch)
    if word == "lead-in":
        plan["lead-in"] = length
        return
    if not gap:
        steps = next(part["steps"] for part in plan["parts"] if found[first].step in part["steps"])
        index = steps.index(found[first].step)
        if index and "move" not in steps[index - 1] and steps[index - 1].get("rest") == "0 s":
            steps[index - 1]["rest"] = length
        else:
            steps.insert(index, {"rest": length})
        return
    _set_time(max(gap, key=lambda stretch: stretch.end - stretch.start), word, length)


def _lengthen_behind(plan: Plan, name: str, length: str) -> None:
    found = by_hand.stretches(plan)
    last = max(i for i, s in enumerate(found) if s.kind == "work" and s.step and s.step["move"] == name)
    behind = found[last + 1]
    if behind.part is None:
        plan["lead-out"] = length
    else:
        _set_time(behind, behind.kind, length)


def _set_time(stretch: by_hand.Stretch, word: str, length: str) -> None:
    """Writes the time of a rest or talk where it stands: in its step, or in the move or the part."""
    assert stretch.step is not None
    assert stretch.part is not None
    if "move" not in stretch.step:
        stretch.step[word] = length
    elif "rest" in stretch.step:
        stretch.step["rest"] = length
    else:
        stretch.part["rest"] = length
