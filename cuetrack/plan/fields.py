"""The other small values of a plan: switches, counts, sides, tempo, level and loudness."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    GetJsonSchemaHandler,
    PlainSerializer,
    PlainValidator,
    WithJsonSchema,
)

from cuetrack.document.fields import Line, Name
from cuetrack.document.located import shown
from cuetrack.document.model import refused
from cuetrack.errors import TimeError, did_you_mean
from cuetrack.plan.times import FixedTime, FixedTimeField
from cuetrack.sound.pulse_moods import MOODS
from cuetrack.sound.tone_table import COUNTDOWNS, PLAN_TONES
from cuetrack.timebase import decimal_text, parse_duration

By = Literal["tones", "voice", "both", "none"]
Side = Literal["left", "right"]
SpeechStyle = Literal["full", "terse"]
Level = Literal["easier", "standard", "harder"]
AnnouncedPart = Literal["name", "setup", "equipment"]
MixName = Literal["class", "ear", "film"]
# What a mix may hold: the kinds of cue, and the music.
MixContent = Literal["announcement", "call", "count", "tone", "click", "slate", "prompt", "bed"]

MAX_COUNT = 60
MAX_ROUNDS = 1000
MAX_POINT_SECONDS = 3600
MAX_REPETITIONS = 100
# No beat is shorter, at 300 bpm.
MIN_INTERVAL_SECONDS = Fraction(1, 5)

_SWITCH_WORDS = {"on": True, "yes": True, "true": True, "off": False, "no": False, "false": False}

# `off` as readers of YAML hand it over.
OFF_WORDS = ("off", "no", False)


def is_off(value: Any) -> bool:
    """Whether `value` is the word for nothing at all."""
    return isinstance(value, str | bool) and _SWITCH_WORDS.get(str(value).strip().casefold()) is False


def _switch(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    word = str(value).strip().casefold()
    if word not in _SWITCH_WORDS:
        raise refused(f"{shown(value)} is neither on nor off", "write on or off")
    return _SWITCH_WORDS[word]


Switch = Annotated[
    bool,
    PlainValidator(_switch),
    PlainSerializer(lambda value: "on" if value else "off", return_type=str),
    WithJsonSchema({"enum": ["on", "off", "yes", "no", True, False], "examples": ["on", "off"]}),
]


def _word_of(table: Collection[str], what: str) -> BeforeValidator:
    def checked(value: Any) -> str:
        word = str(value).strip()
        if word not in table:
            raise refused(f"{shown(value)} is no {what}", did_you_mean(word[:40], table))
        return word

    return BeforeValidator(checked)


def _words_schema(table: Collection[str]) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "enum": list(table), "examples": list(table)[:2]})


Mood = Annotated[str, _word_of(MOODS, "mood"), _words_schema(MOODS)]
ToneName = Annotated[str, _word_of(PLAN_TONES, "tone"), _words_schema(PLAN_TONES)]
CountdownSound = Annotated[str, _word_of(COUNTDOWNS, "countdown"), _words_schema(COUNTDOWNS)]


def _count_point(value: Any) -> Fraction:
    """Seconds before the boundary: a bare number counts seconds here, a time is taken as one."""
    text = str(value).strip()
    try:
        seconds = parse_duration(f"{text}s" if re.fullmatch(r"[\d.]+", text) else text).seconds
    except TimeError:
        raise refused(f"{shown(value)} is not a count", "write whole seconds, for example 10, 5, 3") from None
    if not 0 < seconds <= MAX_POINT_SECONDS:
        message = f"a count at {shown(value)} is not possible"
        hint = f"write seconds before the boundary, more than 0 and up to {MAX_POINT_SECONDS}"
        raise refused(message, hint)
    return seconds


def _count_points(value: Any) -> tuple[Fraction, ...]:
    if isinstance(value, list | tuple):
        if len(value) > MAX_COUNT:
            raise refused(f"{len(value)} counts, allowed are {MAX_COUNT}", "leave some out")
        return tuple(sorted({_count_point(item) for item in value}, reverse=True))
    text = str(value).strip()
    if not re.fullmatch(r"\d{1,4}", text) or int(text) > MAX_COUNT:
        raise refused(
            f"'count' cannot be {shown(value)}",
            f"write a whole number from 0 to {MAX_COUNT}, or a list such as [10, 5, 3, 2, 1]",
        )
    return tuple(Fraction(second) for second in range(int(text), 0, -1))


def _count_as_written(points: tuple[Fraction, ...]) -> int | list[int | str]:
    if points == tuple(range(len(points), 0, -1)):
        return len(points)
    return [int(point) if point.denominator == 1 else f"{decimal_text(point)} s" for point in points]


CountPoints = Annotated[
    tuple[Fraction, ...],
    PlainValidator(_count_points),
    PlainSerializer(_count_as_written),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 0, "maximum": MAX_COUNT},
                {
                    "type": "array",
                    "items": {
                        "type": ["number", "string"],
                        "exclusiveMinimum": 0,
                        "maximum": MAX_POINT_SECONDS,
                    },
                    "maxItems": MAX_COUNT,
                },
            ],
            "examples": [3, [10, 5, 3, 2, 1]],
        }
    ),
]


# How words are spoken; findings of a review that are as they are meant, each with its reason.
Lexicon = Annotated[dict[Name, Line], Field(max_length=500)]
Accepted = Annotated[dict[Name, Line], Field(max_length=100)]


def one_or_many(value: Any) -> Any:
    """A list as it is, any other value as a list of one."""
    return value if isinstance(value, list | tuple) else [value]


class OneOrMany:
    """JSON Schema of a list whose only item may stand without brackets."""

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        many = handler(core_schema)
        return {"anyOf": [many["items"], many]}


Names = Annotated[tuple[Name, ...], BeforeValidator(one_or_many), OneOrMany()]
Files = Annotated[
    tuple[Line, ...], Field(min_length=1, max_length=200), BeforeValidator(one_or_many), OneOrMany()
]


def _announced(value: Any) -> Any:
    return () if is_off(value) else one_or_many(value)


AnnouncedParts = Annotated[
    tuple[AnnouncedPart, ...],
    BeforeValidator(_announced),
    PlainSerializer(lambda parts: list(parts) or "off"),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["name", "setup", "equipment", *OFF_WORDS]},
                {"type": "array", "items": {"enum": ["name", "setup", "equipment"]}},
            ],
            "examples": [["name", "equipment"], "off"],
        }
    ),
]


def _sides(value: Any) -> tuple[Side, ...]:
    if isinstance(value, str) and value.strip() == "both":
        return ("left", "right")
    written = one_or_many(value)
    words = [str(word).strip() for word in written]
    allowed: tuple[Side, ...] = ("left", "right")
    for word, as_written in zip(words, written, strict=True):
        if word not in allowed:
            has_both = "left" in word and "right" in word
            hint = "write `sides: both`" if has_both else did_you_mean(word[:40], ("left", "right", "both"))
            raise refused(f"{shown(as_written)} is no side", hint)
    if len(set(words)) != len(words) or not words:
        message = "a side is named twice" if words else "no side is named"
        raise refused(message, "write both, left, right, or [right, left]")
    return tuple(side for word in words for side in allowed if side == word)


Sides = Annotated[
    tuple[Side, ...],
    PlainValidator(_sides),
    PlainSerializer(list),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["both", "left", "right"]},
                {"type": "array", "items": {"enum": ["left", "right"]}, "minItems": 1, "uniqueItems": True},
            ],
            "examples": ["both", ["right", "left"]],
        }
    ),
]


@dataclass(frozen=True, slots=True)
class Rounds:
    """How many rounds a part may have, both included."""

    fewest: int
    most: int

    def __str__(self) -> str:
        return f"{self.fewest}..{self.most}"


def rounds_range(value: Any) -> Rounds:
    """What a range of rounds such as `2..4` says; raises what pydantic reports where it says none."""
    if isinstance(value, Rounds):
        return value
    match = re.fullmatch(r"(\d{1,4})\s*(?:\.\.|–|—)\s*(\d{1,4})", str(value).strip())
    if match is None or not 1 <= int(match[1]) <= int(match[2]) <= MAX_ROUNDS:
        raise refused(f"{shown(value)} is no range of rounds", f"write it like 2..4, up to {MAX_ROUNDS}")
    return Rounds(int(match[1]), int(match[2]))


RoundsRange = Annotated[
    Rounds,
    PlainValidator(rounds_range),
    PlainSerializer(str, return_type=str),
    WithJsonSchema(
        {"type": "string", "pattern": r"^\s*\d{1,4}\s*(\.\.|–|—)\s*\d{1,4}\s*$", "examples": ["2..4"]}
    ),
]


def _quantity(unit: str, lowest: Fraction, highest: Fraction, example: str) -> PlainValidator:
    """A number with its one unit, between two limits."""
    pattern = re.compile(rf"([-−+]?[0-9]{{1,6}}(?:\.[0-9]{{1,6}})?)\s*{unit}", re.IGNORECASE)

    def checked(value: Any) -> Fraction:
        if isinstance(value, Fraction):
            return value
        text = str(value).strip()
        match = pattern.fullmatch(text)
        if match is None:
            raise refused(f"{shown(value)} is not a number of {unit}", f"write it like {example}")
        number = Fraction(match[1].replace("−", "-"))
        if not lowest <= number <= highest:
            limits = f"{decimal_text(lowest)} to {decimal_text(highest)} {unit}"
            raise refused(f"{text} is out of range", f"allowed: {limits}")
        return number

    return PlainValidator(checked)


def _with_unit(unit: str) -> PlainSerializer:
    return PlainSerializer(lambda value: f"{decimal_text(value)} {unit}", return_type=str)


def _quantity_schema(unit: str, example: str) -> WithJsonSchema:
    either_case = "".join(f"[{letter.upper()}{letter.lower()}]" for letter in unit)
    pattern = rf"^\s*[-−+]?\d+(\.\d+)?\s*{either_case}\s*$"
    return WithJsonSchema({"type": "string", "pattern": pattern, "examples": [example]})


BeatsPerMinute = Annotated[
    Fraction,
    _quantity("bpm", Fraction(20), Fraction(300), "120 bpm"),
    _with_unit("bpm"),
    _quantity_schema("bpm", "120 bpm"),
]


def _repetitions(value: Any) -> bool | int:
    if isinstance(value, bool):
        return value
    text = str(value).strip()
    if text.casefold() in _SWITCH_WORDS:
        return _SWITCH_WORDS[text.casefold()]
    if not re.fullmatch(r"\d{1,4}", text) or not 2 <= int(text) <= MAX_REPETITIONS:
        hint = f"write on, off, or the number to begin again after, 2 to {MAX_REPETITIONS}"
        raise refused(f"'count' cannot be {shown(value)}", hint)
    return int(text)


# on, off, or how many repetitions are counted before one follows again.
RepetitionCount = Annotated[
    bool | int,
    PlainValidator(_repetitions),
    PlainSerializer(lambda value: {True: "on", False: "off"}[value] if isinstance(value, bool) else value),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["on", "off", "yes", "no", True, False]},
                {"type": "integer", "minimum": 2, "maximum": MAX_REPETITIONS},
            ],
            "examples": ["on", 8],
        }
    ),
]


@dataclass(frozen=True, slots=True)
class LiftingTempo:
    """One repetition: seconds of lowering, pause, lifting and pause; None is x, as fast as you can."""

    figures: tuple[Fraction | None, Fraction | None, Fraction | None, Fraction | None]

    def __str__(self) -> str:
        return "-".join("x" if figure is None else decimal_text(figure) for figure in self.figures)

    @property
    def lengths_seconds(self) -> tuple[Fraction, ...]:
        """How long each of the four lasts; x is given 1 s (common practice, no source)."""
        return tuple(Fraction(1) if figure is None else figure for figure in self.figures)


_FIGURE = r"\d{1,2}(?:\.\d{1,3})?|[xX]"
_DASH = r"\s*[-–—]\s*"
_LIFTING = re.compile(rf"(?:{_FIGURE})(?:{_DASH}(?:{_FIGURE}))*", re.ASCII)
_WITHOUT_DASHES = re.compile(r"[\dxX]{4}", re.ASCII)
_FOUR_FIGURES = "write four: lowering, pause, lifting, pause, 0 for none, such as 3-1-2-0"


def is_lifting(text: str) -> bool:
    """Whether `text` was meant as a lifting tempo, though not as beats a minute."""
    text = text.strip()
    is_figures = re.match(rf"(?:{_FIGURE}){_DASH}", text, re.ASCII) or _WITHOUT_DASHES.fullmatch(text)
    return bool(is_figures) and "bpm" not in text.casefold()


def _lifting(value: Any) -> LiftingTempo:
    if isinstance(value, LiftingTempo):
        return value
    text = str(value).strip()
    if _WITHOUT_DASHES.fullmatch(text):
        raise refused(f"{shown(value)} has no dashes", f"write {'-'.join(text.lower())}")
    if len(text) > 40 or _LIFTING.fullmatch(text) is None:
        raise refused(f"{shown(value)} is no lifting tempo", _FOUR_FIGURES)
    words = re.split(_DASH, text)
    if len(words) != 4:
        figures = "1 figure" if len(words) == 1 else f"{len(words)} figures"
        raise refused(f"{shown(value)} has {figures}", _FOUR_FIGURES)
    lowering, low, lifting, high = (None if word in "xX" else Fraction(word) for word in words)
    if low is None or high is None:
        raise refused("a pause cannot be as fast as you can", "x is for lowering or lifting, as in 3-1-x-0")
    tempo = LiftingTempo((lowering, low, lifting, high))
    if sum(tempo.lengths_seconds) < 1:
        raise refused(f"a repetition of {tempo} is too short", "write 1 s or more in all, such as 3-1-2-0")
    return tempo


LiftingTempoField = Annotated[
    LiftingTempo,
    PlainValidator(_lifting),
    PlainSerializer(str, return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": rf"^\s*({_FIGURE})({_DASH}({_FIGURE})){{3}}\s*$".replace("?:", ""),
            "examples": ["3-1-2-0", "4-0-x-1"],
        }
    ),
]


def _long_enough(interval: FixedTime) -> FixedTime:
    if interval.length.seconds < MIN_INTERVAL_SECONDS:
        raise refused(
            f"{interval} is too short an interval", f"write {decimal_text(MIN_INTERVAL_SECONDS)} s or more"
        )
    return interval


Interval = Annotated[FixedTimeField, AfterValidator(_long_enough)]
LoudnessLufs = Annotated[
    Fraction,
    _quantity("LUFS", Fraction(-40), Fraction(-9), "-16 LUFS"),
    _with_unit("LUFS"),
    _quantity_schema("LUFS", "-16 LUFS"),
]
_Mix = Annotated[MixName, _word_of(get_args(MixName), "mix")]


def _class_mix(value: Any) -> Any:
    """One loudness alone is that of the class mix."""
    return value if isinstance(value, dict) else {"class": value}


class _OneOrByMix:
    """JSON Schema of a mapping by mix, or of the one value that the class mix has."""

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        by_mix = handler(core_schema)
        return {"anyOf": [by_mix["additionalProperties"], by_mix]}


LoudnessByMix = Annotated[dict[_Mix, LoudnessLufs], BeforeValidator(_class_mix), _OneOrByMix()]
MixContents = dict[
    _Mix, Annotated[tuple[MixContent, ...], Field(min_length=1), BeforeValidator(one_or_many), OneOrMany()]
]
DuckingDb = Annotated[
    Fraction,
    _quantity("dB", Fraction(-60), Fraction(0), "-20 dB"),
    _with_unit("dB"),
    _quantity_schema("dB", "-20 dB"),
]
GainDb = Annotated[
    Fraction,
    _quantity("dB", Fraction(-40), Fraction(12), "-3 dB"),
    _with_unit("dB"),
    _quantity_schema("dB", "-3 dB"),
]
