"""Plans for properties of time: valid ones as plain mappings, built by Hypothesis.

Times are texts such as `7/2 s`, so that `by_hand.py` can work with them without any parser of ours.
Every move, stage and line has a name of its own: a message can be traced to what it is about.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cuetrack.plan.model import Session

Plan = dict[str, Any]
Step = dict[str, Any]

# Whole seconds, halves, a third and a shuttle-run interval: sums that no binary float holds.
_SHORT = ("1 s", "2 s", "3 s", "7/2 s", "5 s", "13/3 s", "8 s")
_LONG = ("10 s", "144/17 s", "25/2 s", "20 s", "30 s", "45 s", "10 s..21 s")
WORKING_TIMES = st.sampled_from(_SHORT + _LONG)
RESTS = st.sampled_from(("0 s", *_SHORT, *_LONG, "2 s..5 s"))
LEAD_INS = st.sampled_from(("0 s", "1 s", "5 s", "13/3 s", "20 s"))

# Those without words, which give way to others: they have tests of their own.
_TEMPOS = st.sampled_from(
    (
        *("96 bpm", "128 bpm", "70 bpm", {"beat": "110 bpm", "accent": 3}),
        *({"lift": "2-1-x-0", "by": "tones"}, {"lift": "0.7-0-1.3-1", "by": "tones", "first": "lifting"}),
    )
)
_INTERVALS = st.sampled_from(("144/17 s", {"interval": "7/2 s", "tone": "soft"}))

_ON_OFF = st.sampled_from(("on", "off"))
_BY = st.sampled_from(("tones", "voice", "both", "none"))


def given_examples(number: int) -> Callable[..., Callable[..., Any]]:
    """`given` with so many examples, which never judges by the clock of a busy machine."""
    unhurried = settings(max_examples=number, deadline=None, suppress_health_check=[HealthCheck.too_slow])

    def decorator(*strategies: Any, **named: Any) -> Callable[..., Any]:
        return lambda test: unhurried(given(*strategies, **named)(test))

    return decorator


def session_of(plan: Plan) -> Session:
    """The validated model of a plan."""
    return Session.model_validate(plan)


def moves_of(plan: Plan) -> Iterator[Step]:
    """Every move, in the order of the plan."""
    return (step for part in plan["parts"] for step in part["steps"] if "move" in step)


def without_none(mapping: dict[str, Any]) -> dict[str, Any]:
    """The keys that were drawn."""
    return {key: value for key, value in mapping.items() if value is not None}


def _maybe(strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | strategy


@st.composite
def plans(draw: st.DrawFn, *, most_steps: int = 5) -> Plan:
    """A plan with everything that makes time: rounds, sides, stages, changes, rests, talk, tempo, calls.

    Counts that are written are no longer than the shortest times: no plan is refused before it sounds.
    """
    names = (f"n{number}" for number in count())
    calls = st.builds(lambda **keys: without_none(keys), **_call_strategies())

    def drawn_stages() -> list[Step]:
        times = draw(st.lists(WORKING_TIMES, min_size=1, max_size=3))
        stages = ({"stage": next(names), "work": time, "calls": draw(_maybe(calls))} for time in times)
        return [without_none(stage) for stage in stages]

    def drawn_cues() -> list[Step]:
        points = draw(st.lists(st.sampled_from(("0 s", "1/2 s", "-1/2 s", "50%", "30%", "-0 s")), max_size=2))
        kinds = ({"tone": "soft"}, {"say": f"line {next(names)}"}, {"tone": "bright", "say": next(names)})
        return [{"at": point, **draw(st.sampled_from(kinds))} for point in dict.fromkeys(points)]

    def drawn_move() -> Step:
        move = {
            "move": f"Move {next(names)}",
            "work": draw(_maybe(WORKING_TIMES)),
            "sides": draw(_maybe(st.sampled_from(("both", "left", ["right", "left"])))),
            "change": draw(_maybe(RESTS)),
            "rest": draw(_maybe(RESTS)),
            "tempo": draw(_maybe(_TEMPOS)),
            "every": draw(_maybe(_INTERVALS)),
            "setup": draw(_maybe(st.sampled_from(("Feet apart.", "Chair behind you, feet under the hips.")))),
            "calls": draw(_maybe(calls)),
            "cues": drawn_cues(),
        }
        if move["work"] is None and draw(st.booleans()):
            move["stages"] = drawn_stages()
        return without_none(move)

    def drawn_step() -> Step:
        kind = draw(st.sampled_from(("move", "move", "move", "rest", "talk")))
        return drawn_move() if kind == "move" else {kind: draw(RESTS), "cues": drawn_cues()}

    def drawn_part() -> Step:
        steps = [drawn_step() for _ in range(draw(st.integers(1, most_steps)))]
        timed = {"stages": drawn_stages()} if draw(st.booleans()) else {"work": draw(WORKING_TIMES)}
        part = {
            "part": next(names),
            "rounds": draw(st.integers(1, 3)),
            "rest": draw(_maybe(RESTS)),
            "change": draw(_maybe(RESTS)),
            "calls": draw(_maybe(calls)),
            **timed,
            "steps": steps,
        }
        return without_none(part)

    plan = {
        "session": "Quay",
        "lead-in": draw(_maybe(LEAD_INS)),
        "lead-out": draw(_maybe(st.just("1 s"))),
        "calls": draw(_maybe(calls)),
        # Never without time: a session of nothing is refused.
        "parts": [{"part": "Arrive", "steps": [{"talk": "9 s"}]}]
        + [drawn_part() for _ in range(draw(st.integers(1, 2)))]
        + [{"part": "Leave", "steps": [{"rest": "1 s"}]}],
    }
    return without_none(plan)


def _call_strategies() -> dict[str, st.SearchStrategy[Any]]:
    points = st.sampled_from((None, 0, 1, ["1"]))
    sound = _maybe(st.sampled_from(("plain", "pips")))

    def off_or(**keys: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
        return st.none() | st.just("off") | st.builds(lambda **drawn: without_none(drawn), **keys)

    return {
        "announce": _maybe(st.sampled_from(("off", "name", ["name", "setup"]))),
        "start": off_or(count=points, by=_maybe(_BY), sound=sound),
        "finish": off_or(count=points, by=_maybe(_BY), sound=sound, warn=st.sampled_from((None, "off"))),
        "stage": off_or(
            ahead=st.sampled_from((None, "0 s", "1/2 s", "1 s")),
            tone=st.sampled_from((None, "off", "soft", "bright")),
        ),
        "side": _maybe(_ON_OFF),
        "halfway": _maybe(_ON_OFF),
    }
