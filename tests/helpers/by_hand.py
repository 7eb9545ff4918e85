"""The design's rules of time, worked out once more the plain way: from a plan's mapping, in Fractions.

Nothing of the timeline is used here, and no parser of ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import Any

from tests.helpers.plans import Plan, Step

SHORT_AND_LONG = {"plain": ("count-short", "count-long"), "pips": ("pip-short", "pip-long")}
FREE_TONES = {
    "soft": "call-soft",
    "bright": "call-bright",
    "short": "count-short",
    "long": "count-long",
    "slate": "slate",
}


@dataclass
class Stretch:
    """A phase as the design describes it; `run` numbers the sides of the moves as they are done."""

    kind: str
    start: Fraction
    end: Fraction
    part: Step | None = None
    step: Step | None = None
    stage: Step | None = None
    side: str | None = None
    run: int = -1


def seconds(text: str) -> Fraction:
    """`7/2 s`, or the midpoint of `2 s..5 s` to the whole second, an exact half up."""
    if ".." in text:
        low, high = (seconds(end) for end in text.split(".."))
        return Fraction(floor((low + high) / 2 + Fraction(1, 2)))
    return Fraction(text.removesuffix(" s"))


def stretches(plan: Plan) -> list[Stretch]:
    """The phases, lead-in to lead-out, those without any time left out."""
    found: list[Stretch] = []
    now, run = Fraction(0), 0

    def add(kind: str, length: Fraction, **about: Any) -> None:
        nonlocal now
        if length:
            found.append(Stretch(kind, now, now + length, **about))
            now += length

    add("lead-in", seconds(plan.get("lead-in", "5 s")))
    for part in plan["parts"]:
        done = [step for _ in range(part.get("rounds", 1)) for step in part["steps"]]
        for index, step in enumerate(done):
            about = {"part": part, "step": step}
            if "move" not in step:
                kind = "rest" if "rest" in step else "talk"
                add(kind, seconds(step[kind]), **about)
                continue
            sides = step.get("sides", [None])
            sides = {"both": ["left", "right"], "left": ["left"]}[sides] if isinstance(sides, str) else sides
            for side in sides:
                if side != sides[0]:
                    add("change", seconds(step.get("change", part.get("change", "5 s"))), **about, side=side)
                for stage in _stages(step, part):
                    add("work", seconds(stage["work"]), **about, stage=stage, side=side, run=run)
                run += 1
            further = done[index + 1 :]
            written_out = bool(further) and "rest" in further[0] and "move" not in further[0]
            followed = any("move" in later for later in further) or "rest" in step
            if followed and not written_out:
                add("rest", seconds(step.get("rest", part.get("rest", "0 s"))), **about)
    if "lead-out" in plan:
        add("rest", seconds(plan["lead-out"]))
    return found


def _stages(step: Step, part: Step) -> list[Step]:
    for owner in (step, part):
        if "work" in owner:
            return [{"work": owner["work"]}]
        if "stages" in owner:
            return list(owner["stages"])
    raise AssertionError("a move without any working time")


def setting(plan: Plan, stretch: Stretch, group: str, key: str | None, default: Any) -> Any:
    """The nearest word about one key of the calls; `off` for a group holds until it is named again."""
    chosen = default
    off = False
    for owner in (plan, stretch.part, stretch.step, stretch.stage):
        calls = (owner or {}).get("calls", {})
        if group not in calls:
            continue
        if key is None:
            chosen = calls[group]
            continue
        off = calls[group] == "off"
        if not off:
            chosen = calls[group].get(key, chosen)
    return "off" if off else chosen


def runs(found: list[Stretch]) -> list[list[Stretch]]:
    """The working phases of each side of each move as it is done."""
    by_run: dict[int, list[Stretch]] = {}
    for stretch in found:
        if stretch.kind == "work":
            by_run.setdefault(stretch.run, []).append(stretch)
    return list(by_run.values())


def leads(found: list[Stretch]) -> list[Fraction]:
    """For each run, the time in which it is counted into: its gap, or the stretch of work before it."""
    lengths: list[Fraction] = []
    end, last = Fraction(0), Fraction(0)
    for run in runs(found):
        lengths.append(run[0].start - end or last)
        end, last = run[-1].end, run[-1].end - run[-1].start
    return lengths


def count_points(
    plan: Plan, stretch: Stretch, group: str, available: Fraction, called: Fraction = Fraction(0)
) -> list[Fraction]:
    """Seconds before the boundary at which is counted: as written, or those of 3, 2, 1 that fit.

    The built-in ones leave the first `called` seconds to the call of the side.
    """
    if setting(plan, stretch, group, "by", "tones") in {"none", "off"}:
        return []
    points = setting(plan, stretch, group, "count", None)
    if points is None:
        points = [point for point in (3, 2, 1) if point < available and point <= available - called]
    elif isinstance(points, int):
        points = range(points, 0, -1)
    return [Fraction(point) for point in points]


def call_of_change(plan: Plan, found: list[Stretch], first: Stretch) -> Fraction:
    """What a change of side leaves to its call: 3.5 s, if it is called."""
    changes = any(stretch.kind == "change" and stretch.end == first.start for stretch in found)
    return Fraction(7, 2) if changes and setting(plan, first, "side", None, "on") == "on" else Fraction(0)


def tones(plan: Plan) -> set[tuple[str, Fraction]]:
    """Each tone and click with its mark; what falls together sounds once."""
    found = stretches(plan)
    sounded: set[tuple[str, Fraction]] = set()
    for run, lead in zip(runs(found), leads(found), strict=True):
        first, last = run[0], run[-1]
        sounded |= _count(plan, first, "start", first.start, lead, call_of_change(plan, found, first))
        sounded |= _count(plan, last, "finish", last.end, last.end - first.start)
        for stretch in run[1:]:
            tone = setting(plan, stretch, "stage", "tone", "bright")
            if tone != "off":
                sounded.add((FREE_TONES[tone], stretch.start))
        sounded |= _clicks(first.step or {}, first.start, last.end)
        by_tones = setting(plan, first, "start", "by", "tones") in {"tones", "both"}
        sounded |= _intervals(first.step or {}, first.start, last.end, first_sounds=not by_tones)
        sounded |= _free(first.step or {}, first.start, last.end)
    for stretch in found:
        if stretch.step and "move" not in stretch.step:
            sounded |= _free(stretch.step, stretch.start, stretch.end)
    return sounded


def _count(
    plan: Plan,
    stretch: Stretch,
    group: str,
    boundary: Fraction,
    available: Fraction,
    called: Fraction = Fraction(0),
) -> set[tuple[str, Fraction]]:
    if setting(plan, stretch, group, "by", "tones") not in {"tones", "both"}:
        return set()
    short, long = SHORT_AND_LONG[setting(plan, stretch, group, "sound", "plain")]
    points = count_points(plan, stretch, group, available, called)
    return {(short, boundary - point) for point in points} | {(long, boundary)}


def _clicks(step: Step, start: Fraction, end: Fraction) -> set[tuple[str, Fraction]]:
    if "tempo" not in step:
        return set()
    tempo = {"beat": step["tempo"]} if isinstance(step["tempo"], str) else step["tempo"]
    if "lift" in tempo:
        return _lifts(tempo, start, end)
    beat = 60 / Fraction(tempo["beat"].removesuffix(" bpm"))
    beats = range(-((start - end) // beat))
    accented = set(beats[:: tempo["accent"]]) if "accent" in tempo else set()
    return {("click-accent" if n in accented else "click", start + n * beat) for n in beats}


def _lifts(tempo: Step, start: Fraction, end: Fraction) -> set[tuple[str, Fraction]]:
    """A tone for each figure that is not 0, in whole repetitions only."""
    down, low, up, high = (Fraction(figure.replace("x", "1")) for figure in tempo["lift"].split("-"))
    order = [("tempo-down", down), ("tempo-hold", low), ("tempo-up", up), ("tempo-hold", high)]
    if tempo.get("first") == "lifting":
        order = order[2:] + order[:2]
    found: set[tuple[str, Fraction]] = set()
    now = start
    while now + down + low + up + high <= end:
        for tone, length in order:
            if length:
                found.add((tone, now))
            now += length
    return found


def _intervals(
    step: Step, start: Fraction, end: Fraction, *, first_sounds: bool
) -> set[tuple[str, Fraction]]:
    if "every" not in step:
        return set()
    every = {"interval": step["every"]} if isinstance(step["every"], str) else step["every"]
    interval = seconds(every["interval"])
    numbers = range(0 if first_sounds else 1, -((start - end) // interval))
    return {(FREE_TONES[every.get("tone", "bright")], start + n * interval) for n in numbers}


def _free(step: Step, start: Fraction, end: Fraction) -> set[tuple[str, Fraction]]:
    return {
        (FREE_TONES[cue["tone"]], point(cue["at"], start, end))
        for cue in step.get("cues", [])
        if "tone" in cue
    }


def point(at: str, start: Fraction, end: Fraction) -> Fraction:
    """After the start, before the end, or a share of the stretch."""
    if at.endswith("%"):
        return start + (end - start) * Fraction(at.removesuffix("%")) / 100
    return end - seconds(at[1:]) if at.startswith("-") else start + seconds(at)


def to_frame(moment: Fraction, rate_hz: int) -> int:
    """The rule of the design: half up."""
    return floor(moment * rate_hz + Fraction(1, 2))
