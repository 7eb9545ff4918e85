"""YAML 1.2 text → mappings, lists and texts that know where they stand.

Every scalar stays the text that was written (`1:30`, `no` and `3` alike): what it means is the
model's business. Aliases are followed with a limit, tags of other programs are refused.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from cuetrack.document.source import Source
from cuetrack.errors import Diagnostic, Place, PlanError

Report = Callable[[Diagnostic], None]

# Far above any plan; low enough that anchors which multiply stop at once.
MAX_VALUES = 50_000
MAX_DEPTH = 40


_PLAIN_TAGS = {
    f"tag:yaml.org,2002:{kind}"
    for kind in ("str", "int", "float", "bool", "null", "map", "seq", "timestamp", "merge", "value")
}


class LocatedMap(dict[str, Any]):
    """A mapping with the place of each key and each value, and of itself."""

    place: Place
    key_places: dict[str, Place]
    value_places: dict[str, Place]

    def renamed(self, keys: dict[str, str]) -> LocatedMap:
        """The same mapping with some keys under other names, places kept."""
        renamed = LocatedMap((keys.get(key, key), value) for key, value in self.items())
        renamed.place = self.place
        renamed.key_places = {keys.get(k, k): place for k, place in self.key_places.items()}
        renamed.value_places = {keys.get(k, k): place for k, place in self.value_places.items()}
        return renamed


class LocatedList(list[Any]):
    """A list with the place of each item and of itself."""

    place: Place
    item_places: list[Place]


@dataclass(frozen=True, slots=True)
class Located:
    """A value and its place."""

    value: str | LocatedMap | LocatedList
    place: Place


def parse_located(source: Source, report: Report) -> Located:
    """The document in `source`; duplicate keys and foreign tags go to `report`.

    Raises:
        PlanError: the text is no YAML, or its aliases explode.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a reused anchor is allowed in YAML 1.2
            root = YAML(typ="rt", pure=True).compose(source.text)
        if root is None:
            raise _syntax_error(source, 1, 1, "only comments")
        return _Walk(source, report).located(root, 0)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise _syntax_error(source, line, column, str(error.problem), str(error.context)) from None
    except YAMLError as error:
        raise _syntax_error(source, 1, 1, str(error).splitlines()[0]) from None
    except RecursionError:
        raise _syntax_error(source, 1, 1, "nested too deeply") from None
    except (ValueError, IndexError, KeyError, AttributeError, TypeError, OverflowError) as error:
        # The parser trips over some broken texts itself, for example `"\UFFFFFFFF"`.
        raise _syntax_error(source, 1, 1, f"unreadable YAML ({error})") from None


class _Walk:
    """One pass over the node graph; counts what aliases repeat."""

    def __init__(self, source: Source, report: Report) -> None:
        self._source = source
        self._report = report
        self._values = 0
        self._open: set[int] = set()

    def located(self, node: Node, depth: int) -> Located:
        place = self._place(node)
        self._values += 1
        if self._values > MAX_VALUES or depth > MAX_DEPTH or id(node) in self._open:
            raise PlanError([_too_much(place)])
        if str(node.tag) not in _PLAIN_TAGS:
            hint = "remove the tag; a plan holds plain values only"
            self._report(Diagnostic("error", f"tag {str(node.tag)!r} is not allowed", place, hint))
        self._open.add(id(node))
        try:
            if isinstance(node, MappingNode):
                return Located(self._mapping(node, place, depth), place)
            if isinstance(node, SequenceNode):
                return Located(self._sequence(node, place, depth), place)
        finally:
            self._open.discard(id(node))
        return Located(str(node.value), place)

    def _mapping(self, node: MappingNode, place: Place, depth: int) -> LocatedMap:
        mapping = LocatedMap()
        mapping.place, mapping.key_places, mapping.value_places = place, {}, {}
        for key_node, value_node in node.value:
            key_place = self._place(key_node)
            if not isinstance(key_node, ScalarNode):
                hint = "a key is a word, followed by ': ' and its value"
                self._report(Diagnostic("error", "this key is not a word", key_place, hint))
                continue
            key = str(key_node.value)
            value = self.located(value_node, depth + 1)
            if key in mapping:
                first = mapping.key_places[key]
                hint = f"it stands in line {first.line} already; keep one of the two"
                self._report(Diagnostic("error", f"duplicate key {key!r}", key_place, hint))
                continue
            mapping[key] = value.value
            mapping.key_places[key], mapping.value_places[key] = key_place, value.place
        if mapping.key_places:
            mapping.place = next(iter(mapping.key_places.values()))
        return mapping

    def _sequence(self, node: SequenceNode, place: Place, depth: int) -> LocatedList:
        items = [self.located(item, depth + 1) for item in node.value]
        sequence = LocatedList(item.value for item in items)
        sequence.place = place
        sequence.item_places = [
            item.value.place if isinstance(item.value, LocatedMap) else item.place for item in items
        ]
        return sequence

    def _place(self, node: Node) -> Place:
        start, end = node.start_mark, node.end_mark
        if start is None:
            return self._source.place(1, 1)
        one_line = end is not None and end.line == start.line
        return self._source.place(
            start.line + 1, start.column + 1, end.column - start.column if one_line else 1
        )


def _too_much(place: Place) -> Diagnostic:
    message = f"more than {MAX_VALUES} values or {MAX_DEPTH} levels, or an alias inside itself"
    return Diagnostic("error", message, place, "write repeated steps with `rounds:`, not with aliases")


# What the parser says → what a coach can do about it.
_EXPLAINED = (
    (
        "mapping values are not allowed",
        "a second ': ' in this line",
        'put a text that holds ": " into quotes',
    ),
    ("could not find expected ':'", "this line is neither `key: value` nor `- item`", None),
    (
        "expected <block end>",
        "the indentation does not match the lines above",
        "line it up with its neighbours",
    ),
    ("found unexpected end of stream", "a quoted text does not end", "close the quotes"),
    ("did not find expected ',' or ", "a list or mapping in brackets is not closed", None),
    ("expected ',' or ", "a list or mapping in brackets is not closed", "close it with ] or }"),
    (
        "expected '<document start>'",
        "the indentation does not match the lines above",
        "line it up with its neighbours",
    ),
    (
        "found another document",
        "a second document begins here",
        "one file holds one plan; remove the `---`",
    ),
    (
        "found undefined alias",
        "this alias (*) names nothing",
        "put texts that begin with * into quotes",
    ),
    (
        "only comments",
        "the file holds no plan, only comments",
        "`cuetrack new` writes a plan to begin with",
    ),
    ("nested too deeply", "nested too deeply", "a plan needs no more than ten levels"),
    (
        "found unknown escape character",
        "unknown escape after \\",
        "use single quotes, or double the \\",
    ),
)


def _syntax_error(source: Source, line: int, column: int, problem: str, context: str = "") -> PlanError:
    for said, message, hint in _EXPLAINED:
        if said in problem:
            return PlanError([Diagnostic("error", message, source.place(line, column), hint)])
    message = problem.splitlines()[0] if problem else context
    hint = "put texts with special characters into quotes"
    return PlanError([Diagnostic("error", message, source.place(line, column), hint)])
