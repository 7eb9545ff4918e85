"""One value of a plan ↔ the text of one cell.

Plain texts and times stand as they are, names with commas between them, stages as `slow: 20s, fast: 10s`;
whatever has more parts (calls, cues, a bed) as a plan writes it on one line.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

from cuetrack.document.located import LocatedList, LocatedMap, parse_located
from cuetrack.document.source import Source, check_characters
from cuetrack.errors import Diagnostic, Place, PlanError
from cuetrack.tables.headings import folded, unit_of_word

TIME_KEYS = {"work", "rest", "talk", "change", "length", "lead-in", "lead-out"}
_NAME_LISTS = {"equipment", "tags"}
# Their cells hold more than a text can say, so what cannot be read in them is a mistake.
_NESTED = {"stages", "calls", "bed", "cues", "lexicon", "mixes", "loudness", "accepted"}
# A value of a document, as `document/located.py` reads it.
_Value = str | LocatedMap | LocatedList
# What coaches write into a cell that says nothing.
NOTHING = {"-", "–", "—"}

_PLAIN_IN_BRACES = re.compile(r"-?\w(?:[\w .%/+’'-]*[\w.%’'])?")
_LIST_ITEM = re.compile(r"[^,;\[\]{}\"'\s](?:[^,;\n\r]*[^,;\s])?")
_STAGE = re.compile(r"([^,;:\[\]{}\"'\n]+?)\s*:\s+([^,;\n]+)")

_BOTH = (
    "both, both sides, each side, per side, beide, beide seiten, je seite, pro seite, ambos, ambos lados, "
)
_BOTH += "cada lado, por lado, les deux, chaque cote, par cote"
_LEFT = "left, l, links, izquierda, izquierdo, gauche"
_RIGHT = "right, r, rechts, derecha, derecho, droite"
_SIDES = {
    word.strip(): side
    for side, words in (("both", _BOTH), ("left", _LEFT), ("right", _RIGHT))
    for word in words.split(",")
}

_PRIMES = re.compile(r"""(?:(\d{1,3})\s*['’′])?\s*(?:(\d{1,4}(?:\.\d+)?)\s*(?:["”″]|''|’’|′′))?""")
_NUMBER = re.compile(r"\d{1,9}(?:\.\d{1,9})?")
_NUMBER_RANGE = re.compile(r"(\d{1,6}(?:\.\d+)?)\s*(?:\.\.|–|—|-)\s*(\d{1,6}(?:\.\d+)?)")
_TIMES = re.compile(r"[x×]?\s*(\d+)\s*[x×]?", re.IGNORECASE)
# 20:30 that a spreadsheet took for a time of day comes back with seconds that nobody wrote.
_OF_A_CLOCK = re.compile(r"0*[1-9]\d*:\d\d:00")


def cell_text(key: str, value: Any) -> str:
    """The cell for a value as `model_dump(mode="json")` gives it."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False) if value.startswith(("[", "{", '"')) else value
    if key == "stages":
        written = [_stage_text(stage) for stage in value]
        if all(written):
            return ", ".join(text for text in written if text)
    if key == "sides" and value:
        return "both" if value == ["left", "right"] else ", ".join(value)
    if key in _NAME_LISTS and value and all(_LIST_ITEM.fullmatch(name) for name in value):
        return ", ".join(value)
    return braces_text(value)


def _stage_text(stage: dict[str, Any]) -> str | None:
    text = f"{stage['stage']}: {stage['work']}"
    found = _STAGE.fullmatch(text) if stage.keys() == {"stage", "work"} else None
    return text if found and found[1] == stage["stage"] and stage["stage"] not in NOTHING else None


def braces_text(value: Any) -> str:
    """A value on one line, as a plan may write it inside braces.

    >>> braces_text([{"at": "5 s", "say": "Slowly, now"}])
    '[{at: 5 s, say: "Slowly, now"}]'
    """
    if isinstance(value, dict):
        pairs = (f"{braces_text(key)}: {braces_text(item)}" for key, item in value.items())
        return f"{{{', '.join(pairs)}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(braces_text, value))}]"
    text = str(value)
    plain = isinstance(value, int) or _PLAIN_IN_BRACES.fullmatch(text)
    return text if plain else json.dumps(text, ensure_ascii=False)


def value_of_cell(
    key: str, text: str, unit: str | None, place: Place, report: Callable[[Diagnostic], None]
) -> _Value | None:
    """What a cell says of `key`, every value at `place`; None for an empty cell.

    Faults inside braces go to `report`; what the value may be is the plan model's business.
    """
    if not text or text in NOTHING:
        return None
    if text.startswith(("[", "{", '"')):
        found = _in_braces(key, text, place, report)
        if found is not None:
            return found
    if key == "rounds":
        times = _TIMES.fullmatch(text)
        return times[1] if times else text
    if key in TIME_KEYS:
        return time_of_cell(text, unit)
    if key == "tempo" and unit == "bpm" and _NUMBER.fullmatch(text):
        return f"{text} bpm"
    if key == "sides":
        return _sides(text, place)
    if key in _NAME_LISTS:
        return _located_list([name.strip() for name in re.split("[,;\n]", text) if name.strip()], place)
    if key == "stages":
        return _stages(text, unit, place)
    return text


def _in_braces(key: str, text: str, place: Place, report: Callable[[Diagnostic], None]) -> _Value | None:
    """The cell read as plan text; None where it is a coach's text that only looks like it."""
    found: list[Diagnostic] = []
    source = Source(place.file, text)
    try:
        check_characters(source)
        value = parse_located(source, found.append).value
    except PlanError as error:
        found += error.diagnostics
        value = LocatedMap()
    if found:
        if key not in _NESTED:
            return None
        for diagnostic in found:
            report(Diagnostic("error", diagnostic.message, place, diagnostic.hint))
    return _moved(value, place)


def _moved(value: _Value, place: Place) -> _Value:
    """The same value with everything in it at `place`."""
    if isinstance(value, LocatedMap):
        moved = LocatedMap((key, _moved(inner, place)) for key, inner in value.items())
        return placed(moved, place)
    if isinstance(value, LocatedList):
        return _located_list([_moved(inner, place) for inner in value], place)
    return value


def placed(mapping: LocatedMap, place: Place) -> LocatedMap:
    """`mapping` with all its keys and values at `place`."""
    mapping.place = place
    mapping.key_places = dict.fromkeys(mapping, place)
    mapping.value_places = dict.fromkeys(mapping, place)
    return mapping


def _located_list(items: list[Any], place: Place) -> LocatedList:
    located = LocatedList(items)
    located.place, located.item_places = place, [place] * len(items)
    return located


def time_of_cell(text: str, unit: str | None) -> str:
    """A time in a coach's table as a plan writes it; what is no time stays as it is.

    >>> time_of_cell("1,5 Min.", None), time_of_cell("20-30", "s"), time_of_cell("1'30\\"", None)
    ('1.5 min', '20 s..30 s', '1 min 30 s')
    """
    plain = re.sub(r"(?<=\d),(?=\d)", ".", text.strip())
    primes = _PRIMES.fullmatch(plain)
    if primes and (primes[1] or primes[2]):
        return " ".join(
            [*([f"{primes[1]} min"] if primes[1] else []), *([f"{primes[2]} s"] if primes[2] else [])]
        )
    if _NUMBER.fullmatch(plain):
        unit = unit or ("s" if not plain.strip("0.") else None)
        return f"{plain} {unit}" if unit else plain
    ends = _NUMBER_RANGE.fullmatch(plain)
    if ends and unit:
        return f"{ends[1]} {unit}..{ends[2]} {unit}"
    return re.sub(r"[^\W\d_]+\.?(?!\.)", lambda word: unit_of_word(word[0]) or word[0], plain)


def looks_like_a_clock(text: str) -> bool:
    """Whether a time of hours has the seconds that a spreadsheet adds to `20:30`."""
    return _OF_A_CLOCK.fullmatch(text) is not None


def _sides(text: str, place: Place) -> str | LocatedList:
    whole = _SIDES.get(folded(text).replace("/", " / "))
    if whole:
        return whole
    words = [
        word for word in re.split(r"\s*(?:[,;/+&]|\band\b|\bund\b|\by\b|\bet\b)\s*", text.strip()) if word
    ]
    return _located_list([_SIDES.get(folded(word), word) for word in words], place)


def _stages(text: str, unit: str | None, place: Place) -> LocatedList | str:
    stages = []
    for part in re.split("[,;\n]", text):
        found = _STAGE.fullmatch(part.strip())
        if found is None:
            return text
        stage = LocatedMap(stage=found[1], work=time_of_cell(found[2], unit))
        stages.append(placed(stage, place))
    return _located_list(stages, place)
