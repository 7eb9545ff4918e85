"""The plan language as one model: reader, checks and JSON Schema all come from these classes.

Every mapping keeps the place of each of its values (`Node.place_of`), so that a fault found late still
points at the coach's own line.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    GetJsonSchemaHandler,
    Tag,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from cuetrack.document.fields import Line, Name, Notes
from cuetrack.document.located import LocatedList, LocatedMap, Report, shown
from cuetrack.document.model import Node, refused
from cuetrack.errors import Diagnostic, PlanError, nearest
from cuetrack.plan.fields import (
    MAX_ROUNDS,
    OFF_WORDS,
    Accepted,
    AnnouncedParts,
    BeatsPerMinute,
    By,
    CountdownSound,
    CountPoints,
    DuckingDb,
    Files,
    GainDb,
    Interval,
    Level,
    Lexicon,
    LiftingTempoField,
    LoudnessByMix,
    MixContents,
    Mood,
    Names,
    RepetitionCount,
    RoundsRange,
    Sides,
    SpeechStyle,
    Switch,
    ToneName,
    is_lifting,
    is_off,
    rounds_range,
)
from cuetrack.plan.phrases import Phrases
from cuetrack.plan.times import FixedTimeField, PlanTime, Point, WorkingTime

# What does nothing for a bed by this source.
_IDLE_KEYS = {"pulse": ("start", "tempo", "crossfade", "loop"), "file": ("mood",)}
_NOT_TOGETHER = [
    ("pulse", "file"),
    *((source, key) for source, keys in _IDLE_KEYS.items() for key in keys),
]
# The key that makes a step what it is; a rest inside a move belongs to the move.
_STEP_KEYS = {"move": "MoveStep", "talk": "TalkStep", "rest": "RestStep"}
_NOT_BOTH_TIMES: dict[str, Any] = {"not": {"required": ["work", "stages"]}}


def _off_or_more(value: Any) -> str:
    return "off" if is_off(value) else "more"


_Off = Annotated[
    Literal["off"],
    BeforeValidator(lambda _: "off"),
    WithJsonSchema({"enum": list(OFF_WORDS)}),
    Tag("off"),
]
_T = TypeVar("_T")
OffOr = Annotated[_Off | Annotated[_T, Tag("more")], Discriminator(_off_or_more)]


class CountCall(Node):
    """A count into or out of a move, and the mark it leads to."""

    example = "`{count: 3, by: tones}`, or off"

    count: CountPoints | None = Field(
        None, description="How many seconds are counted; or a list of the seconds before the boundary."
    )
    by: By | None = Field(
        None, description="What counts: tones, voice, both or none.", examples=["tones", "voice"]
    )
    sound: CountdownSound | None = Field(None, description="The tones that count.")


class FinishCall(CountCall):
    """The count out of a move, and the warning before it."""

    example = "`{warn: 10s, count: 3}`, or off"

    warn: OffOr[FixedTimeField] | None = Field(
        None, description="How long before the end the time left is said; or off.", examples=["10s", "off"]
    )


class StageCall(Node):
    """The call of the next stage while the one before it runs."""

    example = "`{ahead: 2s, tone: bright}`, or off"

    ahead: FixedTimeField | None = Field(
        None, description="How long before the stage begins its name is fully spoken.", examples=["2s"]
    )
    tone: OffOr[ToneName] | None = Field(
        None, description="The tone on the instant the stage begins; or off.", examples=["bright", "off"]
    )


class Calls(Node):
    """What is called and how; inherited session → part → move → stage, key by key."""

    example = "`{start: {count: 3}, halfway: on}`"

    announce: AnnouncedParts | None = Field(
        None, description="What is said of the next move: name, setup, equipment; or off."
    )
    start: OffOr[CountCall] | None = Field(
        None, description="The count into a move; or off.", examples=[{"count": 3, "by": "tones"}, "off"]
    )
    finish: OffOr[FinishCall] | None = Field(
        None,
        description="The count out of a move, and the warning before it; or off.",
        examples=[{"warn": "10s", "count": 5, "by": "voice"}, "off"],
    )
    stage: OffOr[StageCall] | None = Field(
        None,
        description="The call of each next stage; or off.",
        examples=[{"ahead": "3s", "tone": "soft"}, "off"],
    )
    side: Switch | None = Field(None, description="Whether the change of side is called.")
    halfway: Switch | None = Field(None, description="Whether halfway is called.")
    praise: Switch | None = Field(None, description="Whether a word of praise ends each part.")


class FreeCue(Node):
    """A line or a tone of the coach's own, at a point of the step or stage it stands in."""

    example = "`{at: 50%, say: Keep breathing.}`"
    model_config = ConfigDict(json_schema_extra={"anyOf": [{"required": ["say"]}, {"required": ["tone"]}]})

    at: Point = Field(description="When, in the step or stage it stands in.")
    say: Line | None = Field(None, description="What is said.", examples=["Shoulders down, keep breathing."])
    tone: ToneName | None = Field(None, description="Which tone is sounded.")

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a cue that would not be heard."""
        if data.keys() <= {"at"}:
            message = "this cue neither says nor sounds anything"
            report(Diagnostic("error", message, data.place, "add `say: …` or `tone: soft`"))
        return data


class Bed(Node):
    """The music under the session; inherited session → part → step, key by key."""

    example = "`{pulse: 120 bpm}`, or off"
    model_config = ConfigDict(
        json_schema_extra={"not": {"anyOf": [{"required": list(pair)} for pair in _NOT_TOGETHER]}}
    )

    pulse: BeatsPerMinute | None = Field(None, description="A built-in bed at this tempo.")
    mood: Mood | None = Field(None, description="Which built-in bed.")
    file: Files | None = Field(
        None,
        description="A sound file beside the plan, or a list of files that follow each other.",
        examples=["beds/tide.ogg", ["beds/tide.ogg", "beds/rain.flac"]],
    )
    start: FixedTimeField | None = Field(
        None, description="Where in the first file the music begins.", examples=["0:12"]
    )
    tempo: BeatsPerMinute | None = Field(
        None, description="The tempo of the files: loops keep the beat, and counts can be timed."
    )
    crossfade: FixedTimeField | None = Field(
        None,
        description="How long one file or turn of a loop fades into the next; if not given 2 s, or a quarter "
        "of a file that lasts less than 8 s.",
    )
    loop: Switch | None = Field(None, description="Whether the files begin again at their end; on.")
    gain: GainDb | None = Field(None, description="How much louder or softer than usual.")
    fade_in: FixedTimeField | None = Field(
        None, alias="fade in", description="How the music begins after silence; 0.5 s for files if not given."
    )
    fade_out: FixedTimeField | None = Field(
        None,
        alias="fade out",
        description="How it ends before silence, also where files without a loop end; 2 s if not given.",
    )
    under_speech: DuckingDb | None = Field(
        None,
        alias="under speech",
        description="How far the music is under the voice, at least, while somebody speaks; -14 dB if not "
        "given.",
    )

    @property
    def names_music(self) -> bool:
        """Whether it says which music plays, and not only how."""
        return self.pulse is not None or self.file is not None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a bed with two sources, and words for the other kind of source."""
        if "pulse" in data and "file" in data:
            message = "`pulse` and `file` both give the bed"
            report(Diagnostic("error", message, data.key_places["pulse"], "keep one of the two"))
            return data
        for source, idle in _IDLE_KEYS.items():
            for key in idle if source in data else ():
                if key in data:
                    message = f"`{key}` does nothing for a bed by `{source}`"
                    report(Diagnostic("error", message, data.key_places[key], "remove it"))
        return data


OwnBed = Annotated[
    OffOr[Bed] | None,
    Field(description="The music here, where it differs; or off.", examples=[{"mood": "calm"}, "off"]),
]


OwnCalls = Annotated[
    Calls | None,
    Field(
        description="What is called here, where it differs.",
        examples=[{"halfway": "on", "start": {"count": 5}}],
    ),
]
OwnCues = Annotated[
    tuple[FreeCue, ...],
    Field(
        max_length=2000,
        description="Lines and tones of your own, at points of this stretch.",
        examples=[[{"at": "50%", "say": "Keep breathing."}, {"at": "-8s", "tone": "soft"}]],
    ),
]
OwnNotes = Annotated[
    Notes | None, Field(description="For you to read; never spoken.", examples=["Bring the spare bands."])
]
PromptNotes = Annotated[
    Notes | None,
    Field(
        description="For you to read; the ear mix says the words in *asterisks*, or the first words, to you.",
        examples=["Show the *knee line* from the side."],
    ),
]


class Stage(Node):
    """One way of doing a move for a time; in short `{slow lowering: 25s}`."""

    example = "`{slow lowering: 25s}`"

    stage: Name = Field(description="The stage's name, as it is called.", examples=["slow lowering"])
    work: WorkingTime = Field(description="How long it lasts.", examples=["25s", "20s..30s", "32 counts"])
    calls: OwnCalls = None
    cues: OwnCues = ()
    notes: PromptNotes = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """The long form: the one key that is no key of ours is the stage's name, its value the time."""
        names = [key for key in data if key not in cls.allowed_keys()]
        if "stage" in data or "work" in data or not names:
            return data
        written = names[0]
        if len(names) > 1:
            message = f"one stage cannot be {shown(written)} and {shown(names[1])} too"
            hint = "give each stage its own braces: [{slow: 20s}, {fast: 10s}]"
            report(Diagnostic("error", message, data.key_places[names[1]], hint))
            data = data.without(names[1:])
        return data.renamed({written: "work"}).with_value("stage", written, data.key_places[written])

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Both forms: `{stage: NAME, work: TIME}` and, in short, `{NAME: TIME}`."""
        reference = handler(core_schema)
        schema = handler.resolve_ref_schema(reference)
        long = dict(schema)
        own = {key: value for key, value in long["properties"].items() if key not in {"stage", "work"}}
        short = {
            "type": "object",
            "properties": own,
            "additionalProperties": long["properties"]["work"],
            # One key is the name; a second one that is none of ours would be a second name.
            "anyOf": [{"maxProperties": 1}, *({"required": [key]} for key in own)],
            "minProperties": 1,
            "not": {"anyOf": [{"required": ["stage"]}, {"required": ["work"]}]},
        }
        schema.clear()
        schema |= {"description": long.pop("description"), "anyOf": [long, short]}
        return reference


Stages = Annotated[tuple[Stage, ...], Field(min_length=1, max_length=100)]


class Option(Node):
    """An easier or a harder version of a move; in short its text alone."""

    example = "`One foot forward.`, or `{say: One foot forward., work: 30s}`"
    model_config = ConfigDict(json_schema_extra=_NOT_BOTH_TIMES)

    say: Line | None = Field(
        None, description="What is said of it in the announcement.", examples=["One foot forward."]
    )
    work: WorkingTime | None = Field(
        None, description="Its working time, where it differs.", examples=["30s"]
    )
    stages: Stages | None = Field(
        None, description="Its stages, where they differ.", examples=[[{"slow": "20s"}, {"paused": "20s"}]]
    )

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports an option that changes nothing, and one with two working times."""
        _report_two_times(data, report)
        if not data:
            report(Diagnostic("error", "this option says nothing", data.place, "add `say: …` or `work: …`"))
        return data


def _text_or_option(value: Any) -> str:
    return "option" if isinstance(value, dict | Option) else "text"


TextOrOption = Annotated[
    Annotated[Line, Tag("text")] | Annotated[Option, Tag("option")], Discriminator(_text_or_option)
]


class _Step(Node):
    """What steps have in common."""

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports the keys that would make it a step of another kind as well."""
        own, *others = (key for key in _STEP_KEYS if key in data)
        others = [key for key in others if key not in cls.allowed_keys()]
        for key in others:
            message = f"one step cannot be a {own} and a {key} too"
            report(Diagnostic("error", message, data.key_places[key], "begin each step with its own dash"))
        return data.without(others)


# What does nothing for a tempo of the other kind.
_IDLE_FOR_TEMPO = {"beat": ("by", "first"), "lift": ("accent",)}


class Tempo(Node):
    """How a move is paced: clicks on a beat, or each repetition as the trade writes it."""

    example = "`60 bpm`, `3-1-2-0`, or `{beat: 60 bpm, accent: 4, count: on}`"
    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {"required": [kind], "not": {"anyOf": [{"required": [key]} for key in idle]}}
                for kind, idle in _IDLE_FOR_TEMPO.items()
            ]
        }
    )

    beat: BeatsPerMinute | None = Field(None, description="How fast it clicks.")
    accent: Annotated[int, Field(ge=2, le=32)] | None = Field(
        None, description="The first of so many beats is accented; that many are a repetition.", examples=[4]
    )
    lift: LiftingTempoField | None = Field(
        None, description="Seconds of lowering, pause, lifting, pause: `3-1-2-0`; x is as fast as you can."
    )
    by: By = Field(
        "voice",
        description="What calls a lifting tempo: tones, voice, both or none.",
        examples=["voice", "tones"],
    )
    first: Literal["lowering", "lifting"] = Field(
        "lowering", description="What a repetition of a lifting tempo begins with.", examples=["lifting"]
    )
    count: RepetitionCount = Field(
        False, description="Whether repetitions are counted; a number begins again after so many."
    )

    @property
    def repetition_seconds(self) -> Fraction:
        """How long a repetition lasts: the lifting tempo's four figures, or the beats up to an accent."""
        if self.lift is not None:
            return sum(self.lift.lengths_seconds, Fraction(0))
        if self.beat is None:
            raise ValueError("this tempo has neither a beat nor a lifting tempo")
        return 60 * (self.accent or 1) / self.beat

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a tempo of two kinds or of none, and words for the other kind."""
        kinds = [kind for kind in _IDLE_FOR_TEMPO if kind in data]
        if len(kinds) == 2:
            message = "`beat` and `lift` both give the tempo"
            report(Diagnostic("error", message, data.key_places["lift"], "keep one of the two"))
        elif not kinds:
            hint = "add `beat: 60 bpm` or `lift: 3-1-2-0`"
            report(Diagnostic("error", "this tempo has no pace", data.place, hint))
        for kind in kinds if len(kinds) == 1 else ():
            for key in (key for key in _IDLE_FOR_TEMPO[kind] if key in data):
                message = f"`{key}` does nothing for a tempo by `{kind}`"
                report(Diagnostic("error", message, data.key_places[key], "remove it"))
        return data


def _long_tempo(value: Any) -> Any:
    if isinstance(value, dict | Tempo):
        return value
    if is_lifting(str(value)):
        return {"lift": value}
    if "bpm" not in str(value).casefold():
        raise refused(
            f"{shown(value)} is no tempo", "write a beat like 60 bpm, or a lifting tempo like 3-1-2-0"
        )
    return {"beat": value}


class Every(Node):
    """A tone at equal intervals through the work; in short `72/8.5 s`, its interval alone."""

    example = "`72/8.5 s`, or `{interval: 72/8.5 s, tone: soft}`"

    interval: Interval = Field(
        description="From one tone to the next, the first at the start of the work.",
        examples=["72/8.5 s", "5s"],
    )
    tone: ToneName = Field("bright", description="Which tone is sounded.")


class _InShort:
    """JSON Schema of a mapping in whose place the value of one of some keys may stand alone."""

    def __init__(self, *keys: str) -> None:
        self._keys = keys

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        reference = handler(core_schema)
        properties = handler.resolve_ref_schema(reference)["properties"]
        values = (properties[key].get("anyOf", [properties[key]]) for key in self._keys)
        short = [option for options in values for option in options if option.get("type") != "null"]
        return {"anyOf": [*short, reference]}


ShortTempo = Annotated[Tempo, BeforeValidator(_long_tempo), _InShort("beat", "lift")]
ShortEvery = Annotated[
    Every,
    BeforeValidator(lambda value: value if isinstance(value, dict | Every) else {"interval": value}),
    _InShort("interval"),
]


class MoveStep(_Step):
    """An exercise."""

    model_config = ConfigDict(json_schema_extra=_NOT_BOTH_TIMES)

    move: Name = Field(description="The move's name, as it is announced.", examples=["Half-kneeling press"])
    setup: Line | None = Field(
        None,
        description="How to get into position; spoken before the move.",
        examples=["Chair behind you, feet under hips."],
    )
    equipment: Names | None = Field(
        None, description="What is needed; spoken before the move.", examples=[["long loop band"], "mat"]
    )
    tags: Names | None = Field(
        None,
        description="Body regions, movement pattern, position: what `cuetrack review` counts by.",
        examples=[["legs", "squat"], ["core", "hold", "lying"]],
    )
    easier: TextOrOption | None = Field(
        None,
        description="An easier option: its text, or its times too.",
        examples=["Sit all the way down.", {"say": "Lighter band.", "work": "30s"}],
    )
    harder: TextOrOption | None = Field(
        None,
        description="A harder option: its text, or its times too.",
        examples=["One foot forward.", {"say": "Pause below.", "stages": [{"paused": "40s"}]}],
    )
    work: WorkingTime | None = Field(
        None,
        description="The working time, in one stage.",
        examples=["40s", "20s..40s", "32 counts", "8 reps"],
    )
    stages: Stages | None = Field(
        None,
        description="The stages, each with its name and time.",
        examples=[[{"slow lowering": "25s"}, {"steady": "20s"}]],
    )
    sides: Sides | None = Field(None, description="both is left, then right; a list gives the order.")
    change: PlanTime | None = Field(
        None,
        description="Between the sides; the part's, or 5 s, if nothing is said.",
        examples=["8s", "5s..10s"],
    )
    rest: PlanTime | None = Field(
        None, description="The rest after this move; wins over the part's.", examples=["45s", "20s..40s"]
    )
    tempo: ShortTempo | None = Field(
        None,
        description="A beat that clicks (`60 bpm`), or a lifting tempo that is called (`3-1-2-0`).",
        examples=["60 bpm", "3-1-2-0", {"beat": "60 bpm", "accent": 4, "count": "on"}],
    )
    every: ShortEvery | None = Field(
        None,
        description="A tone at equal intervals from the start of the work: `72/8.5 s`.",
        examples=["72/8.5 s", {"interval": "5s", "tone": "soft"}],
    )
    calls: OwnCalls = None
    bed: OwnBed = None
    cues: OwnCues = ()
    notes: PromptNotes = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a change of side where there are no sides."""
        if "change" in data and "sides" not in data:
            message, hint = "`change` without `sides` is never done", "add `sides: both`, or remove it"
            report(Diagnostic("error", message, data.key_places["change"], hint))
        return super().prepared(data, report)


class RestStep(_Step):
    """A rest written out; it replaces the automatic one before it."""

    rest: PlanTime = Field(description="How long the rest lasts.", examples=["45s", "20s..40s"])
    bed: OwnBed = None
    cues: OwnCues = ()
    notes: OwnNotes = None


class TalkStep(_Step):
    """Air for the coach's own talk."""

    talk: PlanTime = Field(description="How long your own talk lasts.", examples=["30s"])
    bed: OwnBed = None
    cues: OwnCues = ()
    notes: PromptNotes = None


def _kind_of_step(value: Any) -> str | None:
    """The tag of a step by the first of the keys that make it one."""
    if isinstance(value, MoveStep | RestStep | TalkStep):
        return type(value).__name__
    if isinstance(value, dict):
        return next((tag for key, tag in _STEP_KEYS.items() if key in value), None)
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


class Flex(Node):
    """What a part may change so that the session meets its promised length; in short `10s`, of its rests."""

    example = "`10s`, or `{rest: 10s, rounds: 2..4}`"

    rest: FixedTimeField | None = Field(
        None, description="How much shorter or longer its rests and changes of side may be.", examples=["10s"]
    )
    rounds: RoundsRange | None = Field(
        None, description="How many rounds there may be; the fewest without `rounds`."
    )


ShortFlex = Annotated[
    Flex,
    BeforeValidator(lambda value: value if isinstance(value, dict | Flex) else {"rest": value}),
    _InShort("rest"),
]


class Part(Node):
    """A named stretch of the session."""

    example = "`part: Circuit`, with its `steps:` below"
    model_config = ConfigDict(json_schema_extra=_NOT_BOTH_TIMES)

    part: Name = Field(description="The part's name.", examples=["Circuit"])
    rounds: int = Field(
        1, ge=1, le=MAX_ROUNDS, description="How many times the steps are done.", examples=[3]
    )
    rest: PlanTime | None = Field(
        None,
        description="After each move but the part's last in its last round.",
        examples=["20s..40s", "30s"],
    )
    flex: ShortFlex | None = Field(
        None,
        description="What may change so that the session meets its length: its rests, or its rounds.",
        examples=["10s", {"rest": "10s", "rounds": "2..4"}],
    )
    work: WorkingTime | None = Field(
        None, description="For each move that gives no time itself.", examples=["40s", "20s..40s"]
    )
    stages: Stages | None = Field(
        None,
        description="For each move that gives no time itself.",
        examples=[[{"slow lowering": "25s"}, {"steady": "20s"}]],
    )
    change: PlanTime | None = Field(
        None, description="Between the sides of a move.", examples=["8s", "5s..10s"]
    )
    calls: OwnCalls = None
    bed: OwnBed = None
    steps: tuple[Step, ...] = Field(
        min_length=1,
        max_length=2000,
        description="Moves, rests and talk, in the order they are done.",
        examples=[[{"move": "Band row", "work": "40s"}, {"rest": "45s"}, {"talk": "20s"}]],
    )
    notes: OwnNotes = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports moves that have no working time, or two, and rounds that `flex` does not allow.

        A part that says only by its `flex` how many rounds there may be has the fewest of them as its own.
        """
        _report_two_times(data, report)
        data = _with_rounds_of_flex(data, report)
        timed = _gives_time(data, cls)
        steps = data.get("steps")
        for step in steps if isinstance(steps, LocatedList) else ():
            if not isinstance(step, LocatedMap) or "move" not in step:
                continue
            _report_two_times(step, report)
            if not timed and not _gives_time(step, MoveStep):
                message = f"the move {shown(step['move'])} has no working time"
                hint = "add `work: 40s` or `stages: […]` to it, or to its part"
                report(Diagnostic("error", message, step.value_places["move"], hint))
        return data


def _with_rounds_of_flex(data: LocatedMap, report: Report) -> LocatedMap:
    """A part with the fewest rounds that its `flex` allows, if it gives none; reports others."""
    flex = data.get("flex")
    if not isinstance(flex, LocatedMap) or "rounds" not in flex:
        return data
    try:
        among = rounds_range(flex["rounds"])
    except PydanticCustomError:  # reported where it stands
        return data
    own = data.get("rounds")
    if own is None and among.fewest > 1:
        return data.with_value("rounds", str(among.fewest), flex.value_places["rounds"])
    number = int(own) if isinstance(own, str) and own.isdecimal() and len(own) < 5 else 0
    if 1 <= number <= MAX_ROUNDS and not among.fewest <= number <= among.most:
        message = f"`rounds: {own}` is not among the {among} that `flex` allows"
        hint = f"write {among.fewest} to {among.most}, or give `flex` another range"
        report(Diagnostic("error", message, data.value_places["rounds"], hint))
    return data


def _gives_time(data: LocatedMap, model: type[Node]) -> bool:
    """Whether a working time is written, or was meant to be."""
    known = model.allowed_keys()
    meant = (key if key in known else nearest(key[:40], known) for key in data)
    return any(key in {"work", "stages"} for key in meant)


def _report_two_times(data: LocatedMap, report: Report) -> None:
    if "work" in data and "stages" in data:
        message = "`work` and `stages` both give the working time"
        hint = "keep one of the two"
        report(Diagnostic("error", message, data.key_places["work"], hint))


class Session(Node):
    """A whole plan."""

    example = "`session: NAME`, with its `parts:` below"

    session: Name = Field(description="The session's name.", examples=["Quayside lunch circuit"])
    length: FixedTimeField | None = Field(
        None, description="The promised length.", examples=["20:00", "45 min"]
    )
    house: Switch = Field(True, description="Whether `house.yaml` beside the plan holds for it.")
    voice: Line | None = Field(
        None,
        description="The voice that speaks: a name, or the path of one.",
        examples=["clear", "./my-voice"],
    )
    language: Name | None = Field(
        None, description="The language spoken: en, es, de or fr; en if not given.", examples=["en", "de"]
    )
    style: SpeechStyle = Field("full", description="How much is said: full, or terse.", examples=["terse"])
    lexicon: Lexicon | None = Field(
        None,
        description="How words are to be spoken, for example `RDL: Romanian deadlift`.",
        examples=[{"SUP board": "stand-up paddle board"}],
    )
    phrases: Phrases | None = Field(
        None,
        description="Own wordings of what is called, by key.",
        examples=[{"rest": ["Easy oars.", "Rest now."]}],
    )
    level: Level = Field("standard", description="The version that is announced.", examples=["easier"])
    equipment: Names | None = Field(
        None, description="Everything that is needed.", examples=[["long loop band", "sturdy chair", "mat"]]
    )
    loudness: LoudnessByMix | None = Field(
        None,
        description="Integrated loudness of the class mix; or of each: `{class: -16 LUFS, ear: -18 LUFS}`.",
        examples=["-16 LUFS", {"class": "-16 LUFS", "ear": "-18 LUFS"}],
    )
    mixes: MixContents | None = Field(
        None,
        description="What each mix holds, where it differs: `{film: [bed, tone]}`.",
        examples=[{"film": ["bed", "tone"]}],
    )
    slate: Switch = Field(False, description="Whether a slate at the head and the tail lines up cameras.")
    coach: Name | None = Field(
        None,
        description="Who teaches; written into the sound file as its artist.",
        examples=["The rowing club"],
    )
    artwork: Line | None = Field(
        None,
        description="A picture (JPEG or PNG) beside the plan; written into the sound file.",
        examples=["quay.png"],
    )
    comment: Line | None = Field(
        None, description="Written into the sound file.", examples=["Winter training on the quay"]
    )
    lead_in: FixedTimeField | None = Field(
        None, alias="lead-in", description="Before the first phase; 5 s if nothing is said.", examples=["10s"]
    )
    lead_out: FixedTimeField | None = Field(
        None,
        alias="lead-out",
        description="After the last phase; 2 s after work that is counted out, so that its end is heard.",
        examples=["5s"],
    )
    bed: OffOr[Bed] | None = Field(
        None,
        description="The music under the session, for example `{pulse: 120 bpm}`; or off.",
        examples=[{"pulse": "120 bpm", "mood": "light"}, "off"],
    )
    calls: Calls | None = Field(
        None,
        description="What is called, and how, in the whole session.",
        examples=[{"start": {"count": 5, "by": "voice"}, "halfway": "on"}],
    )
    accepted: Accepted | None = Field(
        None,
        description="Findings of `cuetrack review` that are as you want them, each with its reason.",
        examples=[{"warm-up": "warmed up on the stairs"}],
    )
    parts: tuple[Part, ...] = Field(
        min_length=1,
        max_length=500,
        description="The parts, in the order they are taught.",
        examples=[[{"part": "Circuit", "rounds": 2, "steps": [{"move": "Band row", "work": "40s"}]}]],
    )
    notes: OwnNotes = None

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Stops at a series, of which nothing else need be said."""
        if "series" in data and "session" not in data:
            message = "this is a series, not a plan"
            hint = "name one of its plans, or a day, as in `--day 1`; `cuetrack series` looks at all of them"
            raise PlanError([Diagnostic("error", message, data.key_places["series"], hint)])
        return data

    @classmethod
    def hint_if_empty(cls) -> str:
        """How to begin a plan."""
        return "`cuetrack new` writes a plan to begin with"
