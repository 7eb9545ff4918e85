"""The plan language as one model: reader, checks and JSON Schema all come from these classes.

Every mapping keeps the place of each of its keys (`Node.place_of`), so that a fault found late still
points at the coach's own line.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeVar

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema

from cuetrack.document.fields import Line, Name, Notes
from cuetrack.document.located import LocatedList, LocatedMap, Report
from cuetrack.document.model import Node
from cuetrack.errors import Diagnostic
from cuetrack.plan.fields import (
    AnnouncedParts,
    BeatsPerMinute,
    By,
    CountdownSound,
    CountPoints,
    DuckingDb,
    Level,
    LoudnessLufs,
    Names,
    Sides,
    Switch,
    ToneName,
    is_off,
)
from cuetrack.plan.times import FixedTimeField, PlanTime, Point, WorkingTime

MAX_ROUNDS = 1000


def _off_or_more(value: Any) -> str:
    return "off" if value is False or is_off(value) else "more"


_Off = Annotated[
    Literal["off"],
    BeforeValidator(lambda _: "off"),
    WithJsonSchema({"enum": ["off", False]}),
    Tag("off"),
]
_T = TypeVar("_T")
OffOr = Annotated[_Off | Annotated[_T, Tag("more")], Discriminator(_off_or_more)]


class CountCall(Node):
    """A count into or out of a move, and the mark it leads to."""

    count: CountPoints | None = Field(None, description="Seconds counted before the boundary.")
    by: By | None = Field(None, description="What counts: tones, voice, both or none.")
    sound: CountdownSound | None = Field(None, description="The tones of the count.")


class FinishCall(CountCall):
    """The count out of a move, and the warning before it."""

    warn: OffOr[FixedTimeField] | None = Field(
        None, description="How long before the end the time left is said; or off."
    )


class StageCall(Node):
    """The call of the next stage while the one before it runs."""

    ahead: FixedTimeField | None = Field(
        None, description="How long before the stage begins its name is fully spoken."
    )
    tone: OffOr[ToneName] | None = Field(
        None, description="The tone on the instant the stage begins; or off."
    )


class Calls(Node):
    """What is called and how; inherited session → part → move → stage, key by key."""

    announce: AnnouncedParts | None = Field(None, description="What is said of the next move.")
    start: OffOr[CountCall] | None = Field(None, description="The count into a move.")
    finish: OffOr[FinishCall] | None = Field(None, description="The count out of a move.")
    stage: OffOr[StageCall] | None = Field(None, description="The call of each next stage.")
    side: Switch | None = Field(None, description="Whether the change of side is called.")
    halfway: Switch | None = Field(None, description="Whether halfway is called.")


class FreeCue(Node):
    """A line or a tone of the coach's own, at a point of the step or stage it stands in."""

    at: Point
    say: Line | None = Field(None, description="What is said.")
    tone: ToneName | None = Field(None, description="Which tone is sounded.")

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a cue that would not be heard."""
        if "say" not in data and "tone" not in data:
            message = "this cue neither says nor sounds anything"
            report(Diagnostic("error", message, data.place, "add `say: …` or `tone: soft`"))
        return data


FreeCues = Annotated[tuple[FreeCue, ...], Field(max_length=2000)]


class Stage(Node):
    """One way of doing a move for a time; in short `{slow lowering: 25s}`."""

    stage: Name
    work: WorkingTime
    calls: Calls | None = None
    cues: FreeCues = ()
    notes: Notes | None = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """The long form: the one key that is no key of ours is the stage's name, its value the time."""
        names = [key for key in data if key not in cls.allowed_keys()]
        if "stage" in data or "work" in data or not names:
            return data
        written = names[0]
        if len(names) > 1:
            message = f"one stage cannot be {written!r} and {names[1]!r} too"
            hint = "give each stage its own braces: [{slow: 20s}, {fast: 10s}]"
            report(Diagnostic("error", message, data.key_places[names[1]], hint))
            for name in names[1:]:
                del data[name]
        long = data.renamed({written: "work"})
        long["stage"] = written
        long.key_places["stage"] = long.value_places["stage"] = data.key_places[written]
        return long


Stages = Annotated[tuple[Stage, ...], Field(min_length=1, max_length=100)]


class MoveStep(Node):
    """An exercise."""

    move: Name
    setup: Line | None = Field(None, description="How to get into position; spoken before the move.")
    equipment: Names | None = Field(None, description="What is needed; spoken before the move.")
    easier: Line | None = Field(None, description="An easier option.")
    harder: Line | None = Field(None, description="A harder option.")
    work: WorkingTime | None = Field(None, description="The working time, in one stage.")
    stages: Stages | None = Field(None, description="The stages, each with its name and time.")
    sides: Sides | None = None
    change: PlanTime | None = Field(None, description="Between the sides; 5 s if nothing is said.")
    rest: PlanTime | None = Field(None, description="The rest after this move; wins over the part's.")
    tempo: BeatsPerMinute | None = Field(None, description="Clicks through the work, and its counts.")
    calls: Calls | None = None
    cues: FreeCues = ()
    notes: Notes | None = None


class RestStep(Node):
    """A rest written out; it replaces the automatic one before it."""

    rest: PlanTime
    cues: FreeCues = ()
    notes: Notes | None = None


class TalkStep(Node):
    """Air for the coach's own talk."""

    talk: PlanTime
    cues: FreeCues = ()
    notes: Notes | None = None


def _kind_of_step(value: Any) -> str | None:
    """The tag of a step by the key that makes it one; a rest inside a move belongs to the move."""
    if isinstance(value, MoveStep | RestStep | TalkStep):
        return type(value).__name__
    if isinstance(value, dict):
        for key, tag in (("move", "MoveStep"), ("talk", "TalkStep"), ("rest", "RestStep")):
            if key in value:
                return tag
    return None


Step = Annotated[
    Annotated[MoveStep, Tag("MoveStep")]
    | Annotated[RestStep, Tag("RestStep")]
    | Annotated[TalkStep, Tag("TalkStep")],
    Discriminator(
        _kind_of_step,
        custom_error_type="refused",
        custom_error_message="{message}",
        custom_error_context={
            "message": "this step is no move, rest or talk",
            "hint": "begin it with `move: NAME`, `rest: 30s` or `talk: 30s`",
        },
    ),
]


class Part(Node):
    """A named stretch of the session."""

    part: Name
    rounds: int = Field(1, ge=1, le=MAX_ROUNDS, description="How many times the steps are done.")
    rest: PlanTime | None = Field(None, description="After each move but the part's last in its last round.")
    work: WorkingTime | None = Field(None, description="For each move that gives no time itself.")
    stages: Stages | None = Field(None, description="For each move that gives no time itself.")
    change: PlanTime | None = Field(None, description="Between the sides of a move.")
    calls: Calls | None = None
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=2000)]
    notes: Notes | None = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports moves that have no working time, or two."""
        _report_two_times(data, report)
        timed = "work" in data or "stages" in data
        steps = data.get("steps")
        for step in steps if isinstance(steps, LocatedList) else ():
            if not isinstance(step, LocatedMap) or "move" not in step:
                continue
            _report_two_times(step, report)
            if not timed and "work" not in step and "stages" not in step:
                message = f"the move {str(step['move'])[:60]!r} has no working time"
                hint = "add `work: 40s` or `stages: […]` to it, or to its part"
                report(Diagnostic("error", message, step.value_places["move"], hint))
        return data


def _report_two_times(data: LocatedMap, report: Report) -> None:
    if "work" in data and "stages" in data:
        message = "`work` and `stages` both give the working time"
        hint = "keep one of the two"
        report(Diagnostic("error", message, data.key_places["work"], hint))


class Bed(Node):
    """The music under the session."""

    pulse: BeatsPerMinute | None = Field(None, description="A built-in bed at this tempo.")
    file: Line | None = Field(None, description="A sound file, beside the plan.")
    under_speech: DuckingDb | None = Field(
        None, alias="under speech", description="The bed's level while somebody speaks."
    )

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a bed with two sources."""
        if "pulse" in data and "file" in data:
            message = "`pulse` and `file` both give the bed"
            report(Diagnostic("error", message, data.key_places["pulse"], "keep one of the two"))
        return data


class Session(Node):
    """A whole plan."""

    session: Name
    length: FixedTimeField | None = Field(None, description="The promised length.")
    voice: Name | None = Field(None, description="The voice that speaks; `clear` if nothing is said.")
    level: Level = Field("standard", description="The version that is announced.")
    equipment: Names | None = Field(None, description="Everything that is needed.")
    loudness: LoudnessLufs | None = None
    lead_in: FixedTimeField | None = Field(
        None, alias="lead-in", description="Before the first phase; 5 s if nothing is said."
    )
    lead_out: FixedTimeField | None = Field(
        None,
        alias="lead-out",
        description="After the last phase; 2 s after work that is counted out, so that its end is heard.",
    )
    bed: OffOr[Bed] | None = None
    calls: Calls | None = None
    parts: Annotated[tuple[Part, ...], Field(min_length=1, max_length=500)]
    notes: Notes | None = None
