"""The house style: what a plan inherits, what it keeps, and where a fault of the house is shown."""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from cuetrack.build import Compiled, compile_plan, text_of
from cuetrack.document.model import read_document
from cuetrack.document.source import Source
from cuetrack.errors import PlanError
from cuetrack.plan.house import House, read_house, read_in_house, with_house
from cuetrack.plan.model import Bed, Calls, CountCall, Session
from cuetrack.plan.phrases import Phrases
from cuetrack.plan.schema import schema_of
from cuetrack.plan.text import parse_plan
from cuetrack.speech.phrases.language import SLOTS_BY_KEY
from cuetrack.speech.phrases.own import UNCHANGED_KEYS
from cuetrack.timeline.bed_settings import bed_settings
from cuetrack.timeline.calls import settings_for

PARTS = "parts: [{part: b, steps: [{move: Row, work: 30s, rest: 20s}, {move: Press, work: 30s}]}]"


def house_of(text: str) -> House:
    return read_document(Source("house.yaml", text), House)


def session_of(keys: str = "", parts: str = PARTS) -> Session:
    return parse_plan(f"session: a\n{keys}\n{parts}\n", "plan.yaml")


def joined(house: str, keys: str = "", parts: str = PARTS) -> Session:
    return with_house(session_of(keys, parts), house_of(house))


def said_of(house: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        house_of(house)
    return [f"{found.place}: {found.message}" for found in caught.value.diagnostics]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plan.yaml").write_text(f"session: a\nlead-in: 12s\n{PARTS}\n", encoding="utf-8")
    return tmp_path


def compiled_with(folder: Path, house: str, keys: str = "") -> Compiled:
    plan = folder / "plan.yaml"
    plan.write_text(plan.read_text(encoding="utf-8") + keys, encoding="utf-8")
    (folder / "house.yaml").write_text(house, encoding="utf-8")
    return compile_plan(plan)


def texts(known: Compiled) -> list[str]:
    phrases = (cue.phrase for cue in known.timeline.cues if hasattr(cue, "phrase"))
    return [text_of(known, phrase) for phrase in phrases]


@pytest.mark.parametrize("key", list(House.model_fields))
def test_a_key_of_the_house_means_what_it_means_in_a_plan(key: str) -> None:
    mine, theirs = House.model_fields[key], Session.model_fields[key]
    assert mine.description == theirs.description
    assert mine.alias == theirs.alias
    # `style` has a word in every plan, and may have none in a house.
    own, other = (
        schema["properties"][key]
        for schema in (schema_of(House, "House style"), schema_of(Session, "Session plan"))
    )
    assert {k: v for k, v in own.items() if k != "default"} == {
        k: v for k, v in other.items() if k != "default"
    }


@pytest.mark.parametrize(
    ("key", "house", "own"),
    [
        ("voice", "voice: one", "voice: two"),
        ("language", "language: de", "language: es"),
        ("style", "style: terse", "style: full"),
        ("coach", "coach: One", "coach: Two"),
        ("artwork", "artwork: one.png", "artwork: two.png"),
        ("comment", "comment: one", "comment: two"),
    ],
)
def test_the_plans_own_word_wins(key: str, house: str, own: str) -> None:
    from_house, alone = joined(house), session_of(own)
    assert getattr(from_house, key) == getattr(house_of(house), key)
    assert str(from_house.place_of(key)) == f"house.yaml:1:{len(key) + 3}"
    both = joined(house, own)
    assert getattr(both, key) == getattr(alone, key)
    assert str(both.place_of(key)) == f"plan.yaml:2:{len(key) + 3}"


def test_lexicon_mixes_and_loudness_are_joined_by_their_entries() -> None:
    house = "lexicon: {RDL: one, cox: two}\nloudness: {class: -14 LUFS, ear: -20 LUFS}\n"
    house += "mixes: {film: [bed, tone]}"
    session = joined(house, "lexicon: {cox: three}\nloudness: -18 LUFS\nmixes: {ear: [prompt]}")
    assert session.lexicon == {"RDL": "one", "cox": "three"}
    assert session.loudness == {"class": Fraction(-18), "ear": Fraction(-20)}
    assert session.mixes == {"film": ("bed", "tone"), "ear": ("prompt",)}


CALLS = [
    "{}",
    "{halfway: on, praise: on}",
    "{start: {count: 5, by: voice}, side: off}",
    "{start: {sound: pips}, finish: {warn: off}}",
    "{announce: off, finish: {count: [10, 5], warn: 8s}, stage: {tone: soft}}",
    "{stage: {ahead: 3s}, start: {by: both}}",
]


@pytest.mark.parametrize("house", CALLS)
@pytest.mark.parametrize("own", CALLS)
@pytest.mark.parametrize("part", CALLS)
def test_calls_are_joined_as_those_of_session_and_part(house: str, own: str, part: str) -> None:
    """Where nothing is off, three levels are the same as two of which the first is joined."""
    of = {text: read_document(Source("c", text), Calls) for text in CALLS}
    session = joined(f"calls: {house}", f"calls: {own}")
    found, expected = settings_for([session.calls, of[part]]), settings_for([of[house], of[own], of[part]])
    assert values(found) == values(expected)


def values(settings: Any) -> list[Any]:
    told = []
    for name in settings.__slots__:
        value = getattr(settings, name)
        if hasattr(value, "points"):
            told += [value.points.value, value.points.is_default, value.by.value, value.sound]
        else:
            told += [value.value, value.is_default]
    return told


def test_off_in_the_plan_switches_off_what_the_house_sets() -> None:
    session = joined("calls: {start: {count: 5}}\nbed: {pulse: 120 bpm}", "calls: {start: off}\nbed: off")
    assert session.calls is not None
    assert (session.calls.start, session.bed) == ("off", "off")
    session = joined("calls: {start: off}\nbed: off", "calls: {start: {count: 5}}\nbed: {pulse: 120 bpm}")
    assert session.calls is not None
    assert isinstance(session.calls.start, CountCall)
    assert isinstance(session.bed, Bed)


@pytest.mark.parametrize(
    ("house", "own", "expected"),
    [
        ("{pulse: 120 bpm, mood: strong}", "{gain: -3 dB}", "{pulse: 120 bpm, mood: strong, gain: -3 dB}"),
        (
            "{pulse: 120 bpm, mood: strong, gain: -6 dB}",
            "{pulse: 100 bpm, gain: -3 dB}",
            "{pulse: 100 bpm, mood: strong, gain: -3 dB}",
        ),
        # Where files begin, their tempo and their loops go with the files.
        (
            "{file: a.ogg, start: 9s, tempo: 99 bpm, loop: off, fade out: 4s}",
            "{file: b.ogg}",
            "{file: b.ogg, fade out: 4s}",
        ),
        ("{file: a.ogg, start: 9s}", "{pulse: 100 bpm}", "{pulse: 100 bpm}"),
        ("{file: a.ogg, start: 9s}", "{start: 1s}", "{file: a.ogg, start: 1s}"),
    ],
)
def test_beds_are_joined_as_those_of_session_and_part(house: str, own: str, expected: str) -> None:
    session = joined(f"bed: {house}", f"bed: {own}")
    assert session.bed == read_document(Source("b", expected), Bed)
    # The same two levels, as session and part of a plan without a house.
    levels = session_of(f"bed: {house}", PARTS.replace("part: b,", f"part: b, bed: {own},"))
    by_levels, at_once = (
        bed_settings(levels, levels.parts[0], None),
        bed_settings(session, session.parts[0], None),
    )
    assert by_levels is not None
    assert at_once is not None
    assert [by_levels.source.pulse, by_levels.source.file] == [at_once.source.pulse, at_once.source.file]
    for name in (*("mood", "start", "tempo_bpm", "crossfade", "loop"), *("gain_db", "fades")):
        assert getattr(by_levels, name) == getattr(at_once, name), name


def test_a_level_of_the_bed_in_the_house_is_no_fault_of_a_plan_without_music(folder: Path) -> None:
    house = "bed: {under speech: -20 dB}"
    assert compiled_with(folder, house).timeline.bed == ()
    with_music = PARTS.replace("part: b,", "part: b, bed: {pulse: 120 bpm},")
    session = joined(house, parts=with_music)
    settings = bed_settings(session, session.parts[0], None)
    assert settings is not None
    assert settings.under_speech_db == -20


def test_a_session_in_another_language_takes_nothing_of_the_houses_language() -> None:
    house = "language: es\nvoice: one\nlexicon: {a: b}\nphrases: {rest: Descanso.}\ncoach: Club"
    other = joined(house, "language: de")
    assert (other.voice, other.lexicon, other.phrases, other.language) == (None, None, None, "de")
    assert other.coach == "Club"
    same = joined(house, "language: es")
    assert (same.voice, same.lexicon) == ("one", {"a": "b"})
    # A house that says no language speaks English.
    assert joined("voice: one", "language: en").voice == "one"
    assert joined("voice: one", "language: fr").voice is None


def test_with_house_is_pure() -> None:
    session, house = session_of("calls: {halfway: on}"), house_of("calls: {praise: on}\ncoach: Club")
    before = session.model_dump(), str(session.place_of("calls"))
    with_house(session, house)
    assert (session.model_dump(), str(session.place_of("calls"))) == before
    assert session.coach is None


def test_a_plan_without_a_house_and_one_that_stands_alone(folder: Path) -> None:
    plan = folder / "plan.yaml"
    assert read_house(folder) is None
    assert read_in_house(plan).coach is None
    (folder / "house.yaml").write_text("coach: Club\n", encoding="utf-8")
    assert read_in_house(plan).coach == "Club"
    plan.write_text(f"house: off\nsession: a\n{PARTS}\n", encoding="utf-8")
    assert read_in_house(plan).coach is None


def test_a_house_that_cannot_be_read_is_refused(folder: Path) -> None:
    (folder / "house.yaml").mkdir()
    with pytest.raises(PlanError, match="this is a folder, and no house style"):
        read_in_house(folder / "plan.yaml")


def test_a_house_is_no_plan(folder: Path) -> None:
    house = folder / "house.yaml"
    house.write_text("coach: Club\n", encoding="utf-8")
    with pytest.raises(PlanError, match="this is a house style, not a plan") as caught:
        read_in_house(house)
    assert [fault.hint for fault in caught.value.diagnostics] == [
        "name one of the plans beside it, which it holds for"
    ]
    house.write_text("coahc: Club\n", encoding="utf-8")
    with pytest.raises(PlanError, match="unknown key 'coahc'") as caught:
        read_in_house(house)
    assert len(caught.value.diagnostics) == 1


@pytest.mark.parametrize("text", ["", "# later\n"])
def test_an_empty_house_says_how_one_begins(folder: Path, text: str) -> None:
    (folder / "house.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        compile_plan(folder / "plan.yaml")
    (fault,) = caught.value.diagnostics
    assert str(fault.place).endswith("house.yaml:1:1")
    assert fault.hint == (
        "write what its plans have in common, like `voice: NAME`, `calls: {start: {count: 5}}`; "
        "or remove the file"
    )


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right of their own there")
def test_a_link_that_leads_nowhere_is_refused(folder: Path) -> None:
    (folder / "house.yaml").symlink_to(folder / "nowhere.yaml")
    with pytest.raises(PlanError, match="this link leads nowhere"):
        read_in_house(folder / "plan.yaml")


@pytest.mark.parametrize(
    ("house", "expected"),
    [
        ("lead-in: 5s", ["house.yaml:1:1: unknown key 'lead-in'"]),
        ("cals: {halfway: on}", ["house.yaml:1:1: unknown key 'cals'"]),
        ("coach: Club\ncalls: {halfway: perhaps}", ["house.yaml:2:18: 'perhaps' is neither on nor off"]),
        ("phrases: {restt: Easy.}", ["house.yaml:1:11: unknown key 'restt'"]),
        ("phrases: {number: one}", ["house.yaml:1:11: unknown key 'number'"]),
        ("phrases: {rest: []}", ["house.yaml:1:17: 'rest' is empty"]),
        (
            "session: a\nparts: []",
            ["house.yaml:2:1: house.yaml is the house style of this folder, and this is a plan"],
        ),
    ],
)
def test_faults_of_a_house(house: str, expected: list[str]) -> None:
    assert said_of(house) == expected


@pytest.mark.parametrize(
    ("house", "line", "message"),
    [
        ("coach: Club\nlanguage: xx", 2, "there are no phrases in the language 'xx'"),
        ("voice: nobody", 1, "there is no voice 'nobody'"),
        ("artwork: none.png", 1, "there is no file 'none.png'"),
        ("bed: {file: none.ogg}", 1, "there is no file 'none.ogg'"),
        ("calls: {finish: {warn: 60s}}", 1, "a warning 1 min before the end comes before the start"),
        ('phrases: {rest: "Rest, {mvoe}."}', 1, "the phrase 'rest' has no slot {mvoe}; it takes none"),
        (
            'phrases: {announce: "Now {mvoe}."}',
            1,
            "the phrase 'announce' has no slot {mvoe}; did you mean 'move'?",
        ),
        ("phrases: {go: [Go, Row]}", 1, "what is said for 'go' is always the same; keep one wording"),
        (
            'phrases: {announce: "Now {move"}',
            1,
            "a brace without its other half in 'Now {move'; a slot is written like {move}",
        ),
        (
            'phrases: {announce: "Now {move}[. {side}]"}',
            1,
            "[ and ] are no pair in 'Now {move}[.'; a piece stands inside one sentence",
        ),
        (
            'phrases: {change-sides: "Now {side:sied}"}',
            1,
            "{side:sied} cannot be said; did you mean 'side'?",
        ),
        ('phrases: {stage: "{stage:number}"}', 1, "{stage:number} cannot be said; write {stage}"),
    ],
)
def test_a_fault_found_late_points_at_the_house(folder: Path, house: str, line: int, message: str) -> None:
    with pytest.raises(PlanError) as caught:
        compiled_with(folder, house)
    found = next(found for found in caught.value.diagnostics if found.message == message)
    assert found.place is not None
    assert (found.place.file, found.place.line) == (str(folder / "house.yaml"), line)


def test_every_phrase_can_be_worded_anew_but_counts_and_own_lines() -> None:
    assert set(Phrases.allowed_keys()) == set(SLOTS_BY_KEY) - UNCHANGED_KEYS
    for name, field in Phrases.model_fields.items():
        told = str(field.description)
        for slot in SLOTS_BY_KEY[field.alias or name]:
            assert f"{{{slot}}}" in told, name
        assert told.count("{") == len(SLOTS_BY_KEY[field.alias or name])


def test_own_wordings_are_spoken_and_take_turns(folder: Path) -> None:
    house = """phrases:
  announce: ["Next on the quay: {move}[, {side}]. {setup}", "Then {move}."]
  announce-first: "We begin. {move}."
  time-left: "{seconds} to row."
"""
    said = texts(compiled_with(folder, house))
    assert said == [
        "We begin. Row.",
        "Ten seconds to row.",
        "Then Press.",
        "Ten seconds to row.",
    ]


def test_an_own_wording_with_nothing_to_say_leaves_it_to_ours(folder: Path) -> None:
    house = 'phrases: {announce: "{option}.", announce-first: "{stage}[, {move}]."}'
    assert texts(compiled_with(folder, house))[::2] == ["First: Row.", "Coming up: Press."]


def test_own_wordings_hold_in_both_styles_and_may_be_terse_apart(folder: Path) -> None:
    house = (
        "style: terse\nphrases: {time-left: {full: 'Still {seconds}.', terse: '{seconds}!'}, rest: Easy}\n"
    )
    known = compiled_with(folder, house + "calls: {finish: {by: voice}}\n")
    assert known.manner.text("time-left", {"seconds": "10"}, 0) == "Ten seconds!"
    assert known.manner.text("rest", {}, 0) == "Easy."
    # Where it does not fit, ours is shorter.
    assert known.manner.text("rest", {}, 0, "terse") == "Rest."
    assert known.manner.text("halfway", {}, 0) == "Halfway."


def test_the_plans_own_wording_of_a_key_replaces_the_houses_whole(folder: Path) -> None:
    session = joined(
        "phrases: {rest: {full: Easy, terse: Off}, halfway: Half}", "phrases: {rest: Rest your oars}"
    )
    assert session.phrases is not None
    written = {key: (own.full, own.terse) for key, own in session.phrases.written()}
    assert written == {"rest": (("Rest your oars",), None), "halfway": (("Half",), None)}
    assert str(session.phrases.place_of("halfway")) == "house.yaml:1:52"
    assert str(session.phrases.place_of("rest")) == "plan.yaml:2:17"


def test_the_house_has_no_line_in_the_timeline_of_a_plan(folder: Path) -> None:
    from cuetrack.build import DEFAULT_RATE_HZ, likely_arrangement
    from cuetrack.writers.timeline_json import timeline_document

    def lines(house: str) -> list[int | None]:
        known = compiled_with(folder, house)
        document = timeline_document(likely_arrangement(known, DEFAULT_RATE_HZ))
        return [cue["line"] for cue in document["cues"] if cue["text"] == "Ten seconds."]

    assert lines("coach: Club\n") == [3]
    assert lines("\n\n\n\n\n\ncalls: {finish: {warn: 10s}}\n") == [None]


SCHEMA = schema_of(House, "House style")


def test_schema_is_valid_and_takes_and_refuses_what_the_reader_does() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    validator, yaml = Draft202012Validator(SCHEMA), YAML(typ="safe", pure=True)
    for text in (
        "phrases: {rest: Easy., halfway: [Half, Done], announce: {full: 'Now {move}', terse: ['{move}']}}",
        "style: terse\nloudness: -14 LUFS\nbed: off\ncalls: {praise: on}",
    ):
        assert house_of(text)
        assert list(validator.iter_errors(yaml.load(text))) == []
    for text in ("length: 20:00", "phrases: {rest: {terse: Easy}}", "phrases: {rset: Easy}", "style: loud"):
        assert said_of(text)
        assert list(validator.iter_errors(yaml.load(text))) != []
