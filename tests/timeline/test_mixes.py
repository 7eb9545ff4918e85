"""What each mix holds and how loud it becomes: by itself and as the plan says."""

from __future__ import annotations

from fractions import Fraction
from typing import get_args

import pytest

from cuetrack.plan.fields import MixContent
from cuetrack.plan.text import parse_plan
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.cues import kind_of
from cuetrack.timeline.mixes import MIX_NAMES, Mix, empty_mix_note, mix_of

PLAN = """
session: Quay circuit
KEYS
bed: {pulse: 120 bpm}
slate: on
calls: {start: {count: 3, by: both}, halfway: on}
parts:
  - part: Circuit
    steps:
      - {move: Band row, work: 40s, tempo: 60 bpm, rest: 20s, notes: Elbows close.}
      - {move: Chair squat, work: 40s}
"""
EVERY_CUE = {"announcement", "call", "count", "tone", "click", "slate"}


def mix(name: str, keys: str = "") -> Mix:
    (known,) = (known for known in MIX_NAMES if known == name)
    return mix_of(parse_plan(PLAN.replace("KEYS", keys)), known)


def test_there_are_three_mixes() -> None:
    assert MIX_NAMES == ("class", "ear", "film")


@pytest.mark.parametrize(
    ("name", "contents", "loudness_lufs"),
    [
        ("class", EVERY_CUE | {"bed"}, -16),  # a music track: AES TD1008, from memory
        ("ear", EVERY_CUE | {"prompt"}, -18),  # speech: AES TD1008, from memory
        ("film", {"bed", "slate"}, -23),  # a programme: EBU R 128
    ],
)
def test_usual_mixes(name: str, contents: set[str], loudness_lufs: int) -> None:
    assert mix(name) == Mix(mix(name).name, mix(name).contents, Fraction(loudness_lufs))
    assert mix(name).contents == contents


def test_camera_hears_neither_the_voice_nor_a_count_and_the_class_no_prompt() -> None:
    assert mix("film").contents.isdisjoint(EVERY_CUE - {"slate"} | {"prompt"})
    assert "prompt" not in mix("class").contents


def test_a_plan_changes_the_mixes_that_it_names_and_no_other() -> None:
    keys = "mixes: {film: [bed, tone], ear: prompt}\nloudness: {film: -20 LUFS}"
    assert mix("film", keys) == Mix("film", frozenset({"bed", "tone"}), Fraction(-20))
    assert mix("ear", keys) == Mix("ear", frozenset({"prompt"}), Fraction(-18))
    assert mix("class", keys) == mix("class")


def test_one_loudness_alone_is_that_of_the_class_mix() -> None:
    keys = "loudness: -14 LUFS"
    assert [mix(name, keys).loudness_lufs for name in MIX_NAMES] == [-14, -18, -23]


def test_every_kind_of_cue_can_be_put_into_a_mix_and_is_named_alike() -> None:
    """The words of `mixes:` are the kinds of cue and the music, and the words of no other list."""
    timeline = compiled(parse_plan(PLAN.replace("KEYS", "")), prompts=True)
    kinds = {kind_of(cue) for cue in timeline.cues}
    assert kinds == EVERY_CUE | {"prompt"}
    assert kinds | {"bed"} == set(get_args(MixContent))


@pytest.mark.parametrize(
    ("keys", "place", "filling"),
    [
        ("", "None", "give the plan a `bed:`, or write `slate: on`, or "),
        ("mixes: {film: [slate]}", "quay.yaml:2:8", "write `slate: on`, or "),
        ("mixes: {film: [click]}", "quay.yaml:2:8", "give a move a `tempo:`, such as 60 bpm, or "),
        ("mixes: {film: [prompt]}", "quay.yaml:2:8", ""),
    ],
)
def test_what_would_fill_an_empty_mix_is_told(keys: str, place: str, filling: str) -> None:
    text = f"session: Quay\n{keys}\nparts: [{{part: A, steps: [{{talk: 9s}}]}}]\n"
    session = parse_plan(text, "quay.yaml")
    note = empty_mix_note(mix_of(session, "film"), session)
    assert note.message == "the mix 'film' of this plan holds nothing, and is silent"
    assert str(note.place) == place
    assert note.hint == filling + "say what is in it: `mixes: {film: [tone, bed]}`"
