"""A session written as plan text and read again is the same session."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cuetrack.plan.fields import MixContent, MixName
from cuetrack.plan.model import MoveStep, Session
from cuetrack.plan.phrases import Phrases
from cuetrack.plan.text import parse_plan
from cuetrack.sound.pulse_moods import MOODS
from cuetrack.sound.tone_table import COUNTDOWNS, PLAN_TONES
from tests.helpers.plan_text import plan_text

# What trips writers and readers of YAML: quotes, colons, comment signs, words that other versions
# of YAML take for something else, indentation, characters of two code units.
_AWKWARD = (
    *(
        '"',
        "'",
        ": ",
        ":",
        " #",
        "#",
        "- ",
        "-",
        "? ",
        "{",
        "}",
        "[",
        "]",
        ",",
        "&a",
        "*a",
        "!x",
        "|",
        ">",
        "%",
    ),
    *(
        "@",
        "`",
        "\\",
        "\\n",
        "\n",
        "\n\n",
        "\n  ",
        "\t",
        " ",
        "\u00a0",
        "~",
        "null",
        "no",
        "off",
        "yes",
        "<<",
        "=",
    ),
    *(
        "---",
        "...",
        "1:30",
        "0o7",
        "0x1F",
        ".inf",
        "1e3",
        "2001-01-01",
        "🏋️",
        "ß",
        "İ",
        "漢字",
        "e\u0301",
        "\u200b",
    ),
)
_FORBIDDEN = "\u2028\u2029\ufeff\ufffe\uffff"


def texts(longest: int) -> st.SearchStrategy[str]:
    """Texts that say something, of at most `longest` characters."""
    letters = st.characters(exclude_categories=("Cc", "Cs"), exclude_characters=_FORBIDDEN)
    pieces = st.lists(st.sampled_from(_AWKWARD) | st.text(letters, max_size=12), min_size=1, max_size=12)
    return pieces.map("".join).map(lambda text: text[:longest]).filter(lambda text: bool(text.strip()))


def _lengths(shortest: int) -> st.SearchStrategy[str]:
    """Every form of a fixed time, up to some minutes."""
    number = st.integers(max(1, shortest), 600)
    fraction = st.decimals(shortest or "0.001", 600, places=3).map(lambda value: f"{value}")
    return st.one_of(
        number.map("{}s".format),
        fraction.map("{} s".format),
        st.tuples(st.integers(1, 59), st.integers(0, 59)).map(lambda t: f"{t[0]}:{t[1]:02d}"),
        st.integers(1, 9).map("0:{}:30.5".format).map(lambda text: text.replace("0:", "0:0", 1)),
        st.integers(1, 30).map("{} min".format),
        st.tuples(st.integers(1, 9), st.integers(1, 59)).map(lambda t: f"{t[0]} min {t[1]} s"),
        st.tuples(number, st.integers(1, 19)).map(lambda t: f"{t[0]}/{t[1]} s"),
        number.map("{} ms".format),
        st.just("1 h"),
    )


@st.composite
def _flexible(draw: st.DrawFn, shortest: int) -> str:
    low = draw(st.integers(max(1, shortest), 100))
    return f"{low}s{draw(st.sampled_from(['..', ' .. ', '–']))}{low + draw(st.integers(0, 50))} s"


def times(shortest: int = 0) -> st.SearchStrategy[str]:
    """Every form of a time in a plan."""
    return _lengths(shortest) | _flexible(shortest) | st.integers(1, 64).map("{} counts".format)


def _some(**keys: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Mappings with some of `keys`."""
    return st.fixed_dictionaries({}, optional={key.replace("_", " "): value for key, value in keys.items()})


_OFF = st.just("off")
_SWITCH = st.sampled_from([True, False, "on", "off", "yes", "no"])
_POINTS = st.integers(0, 60) | st.lists(
    st.integers(1, 60) | st.sampled_from(["0.5", "2.5s", "1/3 s"]), max_size=5
)
_COUNT = {
    "count": _POINTS,
    "by": st.sampled_from(["tones", "voice", "both", "none"]),
    "sound": st.sampled_from(list(COUNTDOWNS)),
}
_CALLS = _some(
    announce=_OFF | st.lists(st.sampled_from(["name", "setup", "equipment"]), max_size=3),
    start=_OFF | _some(**_COUNT),
    finish=_OFF | _some(**_COUNT, warn=_OFF | _lengths(0)),
    stage=_OFF | _some(ahead=_lengths(0), tone=_OFF | st.sampled_from(list(PLAN_TONES))),
    side=_SWITCH,
    halfway=_SWITCH,
)
_POINT = _lengths(0) | _lengths(0).map("-{}".format) | st.integers(0, 100).map("{}%".format)
_SAY, _TONE = {"say": texts(500)}, {"tone": st.sampled_from(list(PLAN_TONES))}
_CUES = st.lists(
    st.fixed_dictionaries({"at": _POINT, **_SAY}, optional=_TONE)
    | st.fixed_dictionaries({"at": _POINT, **_TONE}),
    max_size=3,
)
_NAMES = texts(120) | st.lists(texts(120), max_size=3)
_STAGES = st.lists(
    st.fixed_dictionaries(
        {"stage": texts(120), "work": times(1)},
        optional={"calls": _CALLS, "cues": _CUES, "notes": texts(4000)},
    ),
    min_size=1,
    max_size=3,
)

_BPM = st.integers(20, 300).map("{} bpm".format) | st.just("120.5 BPM")
_FIGURES = st.integers(1, 60)
_LIFT = st.builds("{}-{}-{}-0".format, _FIGURES, _FIGURES, _FIGURES) | st.just(" 4 – 0.5 – X – 1 ")
_EVERY = st.integers(1, 600).map("{} s".format) | st.just("72/8.5 s")
_REPETITIONS = _SWITCH | st.integers(2, 100)
_TEMPO = st.fixed_dictionaries(
    {"beat": _BPM}, optional={"accent": st.integers(2, 32), "count": _REPETITIONS}
) | st.fixed_dictionaries(
    {"lift": _LIFT},
    optional={
        "by": st.sampled_from(["tones", "voice", "both", "none"]),
        "first": st.sampled_from(["lowering", "lifting"]),
        "count": _REPETITIONS,
    },
)
_LEVELS = {
    "gain": st.integers(-40, 12).map("{:+} dB".format) | st.just("−2.5 db"),
    **dict.fromkeys(("fade_in", "fade_out"), _lengths(0)),
    "under_speech": st.integers(-60, 0).map("{} dB".format),
}
_MOOD = st.sampled_from(list(MOODS))
_OF_FILES = {"start": _lengths(0), "tempo": _BPM, "crossfade": _lengths(0), "loop": _SWITCH}
_FILES = texts(500) | st.lists(texts(500), min_size=1, max_size=3)
_BED = (
    _OFF
    | _some(pulse=_BPM, mood=_MOOD, **_LEVELS)
    | _some(file=_FILES, **_OF_FILES, **_LEVELS)
    | _some(mood=_MOOD, **_OF_FILES, **_LEVELS)  # where another level says what plays
)
_MIX, _CONTENT = st.sampled_from(get_args(MixName)), st.sampled_from(get_args(MixContent))
_LUFS = st.integers(-40, -9).map("{} LUFS".format)


def _with_working_time(
    needed: dict[str, st.SearchStrategy[Any]], optional: dict[str, st.SearchStrategy[Any]]
) -> st.SearchStrategy[dict[str, Any]]:
    one_stage = st.fixed_dictionaries({**needed, "work": times(1)}, optional=optional)
    return one_stage | st.fixed_dictionaries({**needed, "stages": _STAGES}, optional=optional)


_OPTION = st.fixed_dictionaries({"work": times(1)}, optional={"say": texts(500)}) | st.fixed_dictionaries(
    {"say": texts(500)}, optional={"stages": _STAGES}
)


def _without_idle_change(move: dict[str, Any]) -> dict[str, Any]:
    """A change belongs between sides."""
    return move if "sides" in move else {key: value for key, value in move.items() if key != "change"}


_MOVE = _with_working_time(
    {"move": texts(120)},
    {
        "setup": texts(500),
        **dict.fromkeys(("easier", "harder"), texts(500) | _OPTION),
        **dict.fromkeys(("equipment", "tags"), _NAMES),
        "sides": st.sampled_from(["both", "left", "right", ["right", "left"]]),
        **dict.fromkeys(("change", "rest"), times()),
        "tempo": _BPM | _LIFT | _TEMPO,
        "every": _EVERY
        | st.fixed_dictionaries({"interval": _EVERY}, optional={"tone": st.sampled_from(list(PLAN_TONES))}),
        "calls": _CALLS,
        "bed": _BED,
        "cues": _CUES,
        "notes": texts(4000),
    },
).map(_without_idle_change)
_PAUSES = st.sampled_from(["rest", "talk"]).flatmap(
    lambda kind: st.fixed_dictionaries(
        {kind: times()}, optional={"bed": _BED, "cues": _CUES, "notes": texts(4000)}
    )
)
_PART_OPTIONS: dict[str, st.SearchStrategy[Any]] = {
    "rounds": st.integers(1, 1000),
    **dict.fromkeys(("rest", "change"), times()),
    "flex": _lengths(0) | _some(rest=_lengths(0), rounds=st.just(" 1 – 1000 ")),
    "calls": _CALLS,
    "bed": _BED,
    "notes": texts(4000),
}
_PART_NEEDS = {"part": texts(120), "steps": st.lists(_MOVE | _PAUSES, min_size=1, max_size=4)}
_PART = _with_working_time(_PART_NEEDS, _PART_OPTIONS) | st.fixed_dictionaries(
    _PART_NEEDS, optional=_PART_OPTIONS
)
_WORDS = texts(500) | st.lists(texts(500), min_size=1, max_size=3)
_WORDING = _WORDS | st.fixed_dictionaries({"full": _WORDS}, optional={"terse": _WORDS})
plans = st.fixed_dictionaries(
    {"session": texts(120), "parts": st.lists(_PART, min_size=1, max_size=3)},
    optional={
        "length": _lengths(1),
        "house": _SWITCH,
        "voice": texts(120),
        "phrases": st.dictionaries(st.sampled_from(Phrases.allowed_keys()), _WORDING, max_size=3),
        "accepted": st.dictionaries(texts(120), texts(500), max_size=3),
        "lexicon": st.dictionaries(texts(120), texts(500), max_size=3),
        "style": st.sampled_from(["full", "terse"]),
        "level": st.sampled_from(["easier", "standard", "harder"]),
        "equipment": _NAMES,
        "loudness": _LUFS | st.dictionaries(_MIX, _LUFS),
        "mixes": st.dictionaries(_MIX, _CONTENT | st.lists(_CONTENT, min_size=1, max_size=8)),
        "slate": _SWITCH,
        "coach": texts(120),
        **dict.fromkeys(("artwork", "comment"), texts(500)),
        **dict.fromkeys(("lead-in", "lead-out"), _lengths(0)),
        "bed": _BED,
        "calls": _CALLS,
        "notes": texts(4000),
    },
)


@settings(deadline=None, database=None, max_examples=80, suppress_health_check=list(HealthCheck))
@given(plans)
def test_a_session_written_and_read_again_is_equal(plan: dict[str, Any]) -> None:
    session = Session.model_validate(plan)
    text = plan_text(session)
    again = parse_plan(text)
    assert again == session
    assert plan_text(again) == text


@pytest.mark.parametrize("style", ["|", ">", ">-", "|-"])
def test_a_block_of_several_lines_is_one_text(style: str) -> None:
    """YAML's folded and literal blocks: a spoken line is folded to single spaces, notes keep their lines."""
    text = (
        "session: Quay\nparts:\n  - part: Main\n    steps:\n      - move: Row\n        work: 20s\n"
        f"        setup: {style}\n          Chair behind you,\n          feet under hips.\n"
    )
    (step,) = parse_plan(text).parts[0].steps
    assert isinstance(step, MoveStep)
    assert step.setup == "Chair behind you, feet under hips."
