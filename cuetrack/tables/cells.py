"""One value of a plan ↔ the text of one cell.

Plain texts and times stand as they are, names with commas between them, stages as `slow: 20s, fast: 10s`;
whatever has more parts (calls, cues, a bed) as a plan writes it on one line, in braces.
"""

from __future__ import annotations

import json
import re
from itertools import accumulate
from typing import Any

from cuetrack.document.located import LocatedList, LocatedMap, parse_located
from cuetrack.document.source import Source, check_characters
from cuetrack.errors import Diagnostic, Place, PlanError
from cuetrack.tables.headings import folded, unit_of_word

# A value of a document, as `document/located.py` reads it.
Value = str | LocatedMap | LocatedList

TIME_KEYS = {"work", "rest", "talk", "change", "length", "lead-in", "lead-out"}
_NAME_LISTS = {"equipment", "tags"}
# What a plan may write in braces; other cells that begin with a bracket hold a text that does.
_IN_BRACES = _NAME_LISTS | {
    *("stages", "sides", "calls", "bed", "cues", "tempo", "every", "easier", "harder", "flex"),
    *("lexicon", "phrases", "mixes", "loudness", "accepted"),
}
# What coaches write into a cell that says nothing.
NOTHING = {"-", "–", "—"}

_MAX_DEPTH = 20
_QUOTED = re.compile(r""""(?:\\.|[^"\\])*"|'(?:[^']|'')*'""")
_ALIAS = re.compile(r"(?:^|[\[{,:])\s*[&*]\S")
# A text that needs no quotes there; some that do not match would not need them either.
PLAIN_IN_BRACES = re.compile(r"-?\w(?:[\w .%/+’'-]*[\w.%’'])?")
_SEPARATORS = re.compile(r"[,;:\[{\n]")
_LIST_ITEM = re.compile(r"[^,;\[\]{}\"'\s](?:[^,;\n\r]*[^,;\s])?")
_STAGE = re.compile(r"([^,;:\[\]{}\"'\n]+?)\s*:\s+([^,;\n]+)")

_SIDE_WORDS = {
    "both": "both, both sides, each side, per side, beide, beide seiten, je seite, pro seite, ambos, "
    "ambos lados, cada lado, por lado, les deux, chaque cote, par cote",
    "left": "left, l, links, izquierda, izquierdo, gauche",
    "right": "right, r, rechts, derecha, derecho, droite",
}
_SIDES = {word: side for side, words in _SIDE_WORDS.items() for word in words.split(", ")}
_BETWEEN_SIDES = re.compile(r"\s*(?:[,;/+&]|\band\b|\bund\b|\by\b|\bet\b)\s*")

_PRIMES = re.compile(r"""(?:(\d{1,3})\s*['’′])?\s*(?:(\d{1,4}(?:\.\d+)?)\s*(?:["”″]|''|’’|′′))?""")
_NUMBER = re.compile(r"\d{1,9}(?:\.\d{1,9})?")
_NUMBER_RANGE = re.compile(r"(\d{1,6}(?:\.\d+)?)\s*(?:\.\.|–|—|-)\s*(\d{1,6}(?:\.\d+)?)")
_TIMES = re.compile(r"[x×]?\s*(\d+)\s*[x×]?", re.IGNORECASE)
# 20:30 that a spreadsheet took for a time of day comes back with seconds that nobody wrote.
_OF_A_CLOCK = re.compile(r"0*[1-9]\d*:\d\d:00")


def cell_text(key: str, value: Any) -> str:
    """The cell for a value in the short form of the plan language."""
    if isinstance(value, str):
        misread = value.startswith('"') or value in NOTHING or _is_in_braces(key, value)
        return json.dumps(value, ensure_ascii=False) if misread else value
    if key == "stages":
        written = [_stage_text(stage) for stage in value]
        if all(written):
            return ", ".join(filter(None, written))
    is_list = key in _NAME_LISTS | {"sides"} and value and value[0] not in NOTHING
    if is_list and all(_LIST_ITEM.fullmatch(name) for name in value):
        return ", ".join(value)
    return braces_text(value)


def _stage_text(stage: dict[str, Any]) -> str | None:
    text = ", ".join(f"{name}: {work}" for name, work in stage.items())
    found = _STAGE.fullmatch(text)
    return text if found and found[1] in stage and found[1] not in NOTHING else None


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
    return text if PLAIN_IN_BRACES.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def value_of_cell(key: str, text: str, unit: str | None, place: Place) -> Value | None:
    """What a cell says of `key`, every value at `place`; None for an empty cell.

    What the value may be is the plan model's business.

    Raises:
        PlanError: with every fault inside braces.
    """
    if not text or text in NOTHING:
        return None
    if text.startswith('"') or _is_in_braces(key, text):
        return _value_in_braces(text, place)
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
    return _stages(text, unit, place) if key == "stages" else text


def most_values(key: str, text: str) -> int:
    """How many values of a plan a cell can hold, its key among them: known before any of it is read.

    >>> most_values("notes", "Sit tall, breathe"), most_values("tags", "back, pull")
    (2, 3)
    """
    has_several = key in _IN_BRACES or key in _NAME_LISTS or key == "stages"
    return 2 + (len(_SEPARATORS.findall(text)) if has_several else 0)


def _is_in_braces(key: str, text: str) -> bool:
    return key in _IN_BRACES and text.startswith("{" if key in {"easier", "harder"} else ("{", "["))


def _value_in_braces(text: str, place: Place) -> Value:
    """The cell read as plan text; one that only begins with a quote stays as it is."""
    source = Source(place.file, text)
    found: list[Diagnostic] = []
    try:
        _refuse_what_multiplies(text, place)
        check_characters(source)
        value = parse_located(source, found.append).value
    except PlanError as error:
        value = text
        found += error.diagnostics
    if text.startswith('"'):
        return value if isinstance(value, str) and not found else text
    if found:
        raise PlanError(Diagnostic("error", fault.message, place, fault.hint) for fault in found)
    return _moved(value, place)


def _refuse_what_multiplies(text: str, place: Place) -> None:
    """A table has many cells: what costs the reader much in one of them has no place in any."""
    unquoted = _QUOTED.sub("", text)
    if _ALIAS.search(unquoted):
        message, hint = "anchors (&) and aliases (*) have no place in a table", "put the text into quotes"
        raise PlanError([Diagnostic("error", message, place, hint)])
    depths = accumulate(1 if bracket in "[{" else -1 for bracket in re.findall(r"[\[\]{}]", unquoted))
    if max(depths, default=0) > _MAX_DEPTH:
        raise PlanError(
            [Diagnostic("error", "too many levels", place, "a plan needs no more than ten levels")]
        )


def _moved(value: Value, place: Place) -> Value:
    """The same value with everything in it at `place`."""
    if isinstance(value, LocatedMap):
        return placed(LocatedMap((key, _moved(inner, place)) for key, inner in value.items()), place)
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
    plain = re.sub(r"(?<=\d),(?=\d)", ".", text)
    primes = _PRIMES.fullmatch(plain)
    if primes and any(primes.groups()):
        return " ".join(f"{n} {unit}" for n, unit in zip(primes.groups(), ("min", "s"), strict=True) if n)
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
    whole = _SIDES.get(folded(text))
    words = [word for word in _BETWEEN_SIDES.split(" ".join(text.split())) if word]
    return whole or _located_list([_SIDES.get(folded(word), word) for word in words], place)


def _stages(text: str, unit: str | None, place: Place) -> LocatedList | str:
    found = [_STAGE.fullmatch(part.strip()) for part in re.split("[,;\n]", text)]
    if not all(found):
        return text
    stages = (LocatedMap(stage=stage[1], work=time_of_cell(stage[2], unit)) for stage in found if stage)
    return _located_list([placed(stage, place) for stage in stages], place)
