"""The other small values of a plan: switches, counts, sides, tempo, loudness, names."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from cuetrack.plan.fields import (
    AnnouncedParts,
    BeatsPerMinute,
    CountdownSound,
    CountPoints,
    DuckingDb,
    Files,
    GainDb,
    LoudnessByMix,
    LoudnessLufs,
    MixContents,
    Mood,
    Names,
    Sides,
    Switch,
    ToneName,
)
from cuetrack.sound.pulse_moods import MOODS
from cuetrack.sound.tone_table import COUNTDOWNS, PLAN_TONES


def read(kind: Any, value: object) -> Any:
    return TypeAdapter(kind).validate_python(value)


def written(kind: Any, value: object) -> Any:
    return TypeAdapter(kind).dump_python(read(kind, value), mode="json")


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        *((Switch, word, True) for word in ("on", "yes", "true", " ON ", True)),
        *((Switch, word, False) for word in ("off", "no", "False", False)),
        (CountPoints, "3", (3, 2, 1)),
        (CountPoints, 3, (3, 2, 1)),
        (CountPoints, "0", ()),
        (CountPoints, ["10", "5", "3"], (10, 5, 3)),
        (CountPoints, ["1", "5", "1", "3"], (5, 3, 1)),
        (CountPoints, [0.5, "2.5", "1/3 s"], (Fraction("2.5"), Fraction("0.5"), Fraction(1, 3))),
        (CountPoints, [], ()),
        (Sides, "both", ("left", "right")),
        (Sides, "left", ("left",)),
        (Sides, ["right", "left"], ("right", "left")),
        (Names, "mat", ("mat",)),
        (Names, ["long  loop\nband", "mat"], ("long loop band", "mat")),
        (AnnouncedParts, "off", ()),
        (AnnouncedParts, False, ()),
        (AnnouncedParts, "name", ("name",)),
        (AnnouncedParts, ["setup", "name"], ("setup", "name")),
        (BeatsPerMinute, "120 bpm", 120),
        (BeatsPerMinute, "122.5BPM", Fraction("122.5")),
        (LoudnessLufs, "-16 LUFS", -16),
        (LoudnessLufs, "−16 lufs", -16),
        (DuckingDb, "-20 dB", -20),
        (DuckingDb, "0 db", 0),
        (GainDb, "+3 dB", 3),
        (GainDb, "−2.5 dB", Fraction("-2.5")),
        (LoudnessByMix, "-16 LUFS", {"class": -16}),
        (LoudnessByMix, {"ear": "-18 LUFS", "film": "-23.5 LUFS"}, {"ear": -18, "film": Fraction("-23.5")}),
        (MixContents, {"film": "bed"}, {"film": ("bed",)}),
        (
            MixContents,
            {"class": ["tone", "count"], "ear": ["prompt"]},
            {"class": ("tone", "count"), "ear": ("prompt",)},
        ),
        (Files, "beds/tide.ogg", ("beds/tide.ogg",)),
        (Files, ["tide.ogg", "ebb.ogg", "tide.ogg"], ("tide.ogg", "ebb.ogg", "tide.ogg")),
    ],
)
def test_values_as_a_coach_writes_them(kind: Any, text: object, value: object) -> None:
    assert read(kind, text) == value
    assert read(kind, written(kind, text)) == value


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [
        (Switch, "maybe", "'maybe' is neither on nor off"),
        (Switch, "1", "'1' is neither on nor off"),
        (CountPoints, "three", "'count' cannot be 'three'"),
        (CountPoints, "61", "'count' cannot be '61'"),
        (CountPoints, "-1", "'count' cannot be '-1'"),
        (CountPoints, {"a": "b"}, "'count' cannot be a mapping"),
        (CountPoints, ["0"], "a count at '0' is not possible"),
        (CountPoints, ["3601"], "a count at '3601' is not possible"),
        (CountPoints, ["five"], "'five' is not a count"),
        (CountPoints, [["1"]], "a list is not a count"),
        (CountPoints, ["1"] * 61, "61 counts, allowed are 60"),
        (Sides, "up", "'up' is no side"),
        (Sides, ["left", "left"], "a side is named twice"),
        (Sides, [], "no side is named"),
        (BeatsPerMinute, "120", "'120' is not a number of bpm"),
        (BeatsPerMinute, "19 bpm", "19 bpm is out of range"),
        (BeatsPerMinute, "300.5 bpm", "300.5 bpm is out of range"),
        (LoudnessLufs, "-16 dB", "'-16 dB' is not a number of LUFS"),
        (LoudnessLufs, "-8 LUFS", "-8 LUFS is out of range"),
        (DuckingDb, "1 dB", "1 dB is out of range"),
        (GainDb, "3", "'3' is not a number of dB"),
        (GainDb, "12.5 dB", "12.5 dB is out of range"),
        (LoudnessByMix, "-16", "'-16' is not a number of LUFS"),
        (LoudnessByMix, {"class": "-16 dB"}, "'-16 dB' is not a number of LUFS"),
        (LoudnessByMix, {"flim": "-16 LUFS"}, "'flim' is no mix"),
        (MixContents, {"Film": ["bed"]}, "'Film' is no mix"),
        (Mood, "sad", "'sad' is no mood"),
        (ToneName, "call-soft", "'call-soft' is no tone"),
        (CountdownSound, "pip", "'pip' is no countdown"),
    ],
)
def test_values_that_are_refused(kind: Any, text: object, message: str) -> None:
    with pytest.raises(ValidationError) as caught:
        read(kind, text)
    (detail,) = caught.value.errors()
    assert detail["msg"] == message
    assert detail["ctx"]["hint"]


def test_every_tone_and_countdown_of_the_table_can_be_asked_for() -> None:
    assert [read(ToneName, name) for name in PLAN_TONES] == list(PLAN_TONES)
    assert [read(CountdownSound, name) for name in COUNTDOWNS] == list(COUNTDOWNS)


def test_every_mood_of_the_built_in_bed_can_be_asked_for() -> None:
    assert len(MOODS) >= 3
    assert [read(Mood, name) for name in MOODS] == list(MOODS)


@pytest.mark.parametrize(
    ("value", "text"), [("3", 3), (["10", "5"], [10, 5]), (["1/3 s", "0.5"], ["0.5 s", "1/3 s"]), ("0", 0)]
)
def test_counts_are_written_as_they_are_read(value: object, text: object) -> None:
    assert written(CountPoints, value) == text
