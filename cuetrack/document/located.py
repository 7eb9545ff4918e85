"""YAML 1.2 text → mappings, lists and texts that know where they stand.

Every scalar stays the text that was written (`1:30`, `no` and `3` alike): what it means is the
model's business. Aliases are followed with a limit, tags of other programs are refused.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Container
from dataclasses import dataclass
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.composer import Composer
from ruamel.yaml.error import MarkedYAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from cuetrack.document.source import Source
from cuetrack.document.syntax import nothing_written, syntax_error, too_deep, unreadable
from cuetrack.errors import Diagnostic, Place, PlanError

Report = Callable[[Diagnostic], None]

# Far above any plan; low enough that anchors which multiply stop at once, and that nothing else keeps
# the reader busy for more than a moment.
MAX_VALUES = 20_000
MAX_CHARACTERS = 1_000_000
MAX_DEPTH = 40

_YAML_TAG = "tag:yaml.org,2002:"
_PLAIN_KINDS = ("str", "int", "float", "bool", "null", "map", "seq", "timestamp", "merge", "value")
_SHOWN_LENGTH = 40
_HALF = re.compile("[\ud800-\udfff]")


class LocatedMap(dict[str, Any]):
    """A mapping with the place of each key and each value, and of itself."""

    place: Place
    key_places: dict[str, Place]
    value_places: dict[str, Place]

    def without(self, keys: Container[str]) -> LocatedMap:
        """The same mapping without some of its keys, all places kept."""
        kept = LocatedMap((key, value) for key, value in self.items() if key not in keys)
        kept.place, kept.key_places, kept.value_places = self.place, self.key_places, self.value_places
        return kept

    def renamed(self, keys: dict[str, str]) -> LocatedMap:
        """The same mapping with some keys under other names, places kept."""
        renamed = LocatedMap((keys.get(key, key), value) for key, value in self.items())
        renamed.place = self.place
        renamed.key_places = {keys.get(k, k): place for k, place in self.key_places.items()}
        renamed.value_places = {keys.get(k, k): place for k, place in self.value_places.items()}
        return renamed

    def with_value(self, key: str, value: Any, place: Place) -> LocatedMap:
        """The same mapping with one value more, or another one, that stands at `place`."""
        changed = self.renamed({})
        changed[key] = value
        changed.key_places[key] = changed.value_places[key] = place
        return changed


class LocatedList(list[Any]):
    """A list with the place of each item and of itself."""

    place: Place
    item_places: list[Place]


@dataclass(frozen=True, slots=True)
class Located:
    """A value and its place."""

    value: str | LocatedMap | LocatedList
    place: Place


def parse_located(source: Source, report: Report, hint_if_empty: str | None = None) -> Located:
    """The document in `source`; duplicate keys and foreign tags go to `report`.

    Raises:
        PlanError: the text is no YAML, or its aliases explode.
    """
    root = _composed(source)
    if root is None or _is_empty(root):
        raise nothing_written(source, hint_if_empty)
    return _Walk(source, report).located(root, 0)


class _TooManyNodesError(Exception):
    """The text holds more values than any plan; `line` and `column` are counted from 1."""

    def __init__(self, line: int, column: int) -> None:
        super().__init__()
        self.line, self.column = line, column


class _Composer(Composer):
    """Stops as soon as there are too many nodes: reading them all could take very long."""

    _nodes = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        self._nodes += 1
        if self._nodes > MAX_VALUES:
            mark = self.parser.peek_event().start_mark
            raise _TooManyNodesError(mark.line + 1, mark.column + 1)
        return super().compose_node(parent, index)


def _composed(source: Source) -> Node | None:
    """The node graph of the text; None if it holds no document."""
    yaml = YAML(typ="safe", pure=True)
    yaml.Composer = _Composer
    yaml.max_depth = MAX_DEPTH
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a reused anchor is allowed in YAML 1.2
            root: Node | None = yaml.compose(source.text)
    except MarkedYAMLError as error:
        raise syntax_error(source, error) from None
    except _TooManyNodesError as error:
        place = source.place(error.line, error.column)
        raise PlanError([_too_much(f"more than {MAX_VALUES} values", place)]) from None
    except RecursionError:  # where the parser knows no `max_depth`
        raise too_deep(source) from None
    except Exception as error:  # the parser itself trips over some texts, for example `"\UFFFFFFFF"`
        raise unreadable(source, error) from None
    return root


def _joined_pairs(text: str) -> str:
    """The text with each character that JSON writes as two `\\u` escapes in one piece."""
    if not _HALF.search(text):
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "surrogatepass")


def _is_empty(node: Node) -> bool:
    """Whether nothing is written where a value should be."""
    return isinstance(node, ScalarNode) and node.value == "" and node.style is None


class _Walk:
    """One pass over the node graph; counts what aliases repeat."""

    def __init__(self, source: Source, report: Report) -> None:
        self._source = source
        self._report = report
        self._values = 0
        self._characters = 0
        self._open: set[int] = set()

    def located(self, node: Node, depth: int) -> Located:
        place = self._place(node)
        self._count(node, place, depth)
        self._check_tag(node, place)
        self._open.add(id(node))
        try:
            if isinstance(node, MappingNode):
                return Located(self._mapping(node, place, depth), place)
            if isinstance(node, SequenceNode):
                return Located(self._sequence(node, place, depth), place)
        finally:
            self._open.discard(id(node))
        return Located(_joined_pairs(str(node.value)), place)

    def _count(self, node: Node, place: Place, depth: int) -> None:
        self._values += 1
        self._characters += len(node.value) if isinstance(node, ScalarNode) else 0
        if id(node) in self._open:
            raise PlanError([_too_much("this anchor (&) holds an alias of itself", place)])
        if depth > MAX_DEPTH:
            raise PlanError([_too_much("too many levels, by aliases in aliases", place)])
        if self._values > MAX_VALUES or self._characters > MAX_CHARACTERS:
            limits = f"more than {MAX_VALUES} values or {MAX_CHARACTERS} characters"
            raise PlanError([_too_much(f"{limits}, counted with all aliases", place)])

    def _check_tag(self, node: Node, place: Place) -> None:
        tag = str(node.tag)
        if not tag.startswith(_YAML_TAG) or tag.removeprefix(_YAML_TAG) not in _PLAIN_KINDS:
            shown = tag.replace(_YAML_TAG, "!!")[:40]
            hint = "remove it; or put a text that begins with ! into quotes"
            self._report(Diagnostic("error", f"the tag {shown!r} is not allowed", place, hint))

    def _mapping(self, node: MappingNode, place: Place, depth: int) -> LocatedMap:
        mapping = LocatedMap()
        mapping.place, mapping.key_places, mapping.value_places = place, {}, {}
        for key_node, value_node in node.value:
            key_place = self._place(key_node)
            if not isinstance(key_node, ScalarNode) or not key_node.value:
                hint = "a key is a word, followed by ': ' and its value"
                self._report(Diagnostic("error", "this key is not a word", key_place, hint))
                continue
            self._check_tag(key_node, key_place)
            key = _joined_pairs(str(key_node.value))
            value = self.located(value_node, depth + 1)
            if key in mapping:
                first = mapping.key_places[key]
                hint = f"it stands in line {first.line} already; keep one of the two"
                self._report(Diagnostic("error", f"duplicate key {shown(key)}", key_place, hint))
                continue
            # The parser looks for a value that is not there on the lines below.
            empty = _is_empty(value_node)
            mapping[key] = value.value
            mapping.key_places[key], mapping.value_places[key] = (
                key_place,
                key_place if empty else value.place,
            )
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
        if start.line != end.line:
            return self._source.place(start.line + 1, start.column + 1)
        length = end.column - start.column
        # Nothing at all is shown by the sign before it, the dash of an item.
        column = start.column + 1 if length else max(1, start.column)
        return self._source.place(start.line + 1, column, length)


def shown(value: object) -> str:
    """A value of a document as a message shows it, in quotes and not too long."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    text = str(value)
    if not text:
        return "nothing"
    return repr(text if len(text) <= _SHOWN_LENGTH else text[: _SHOWN_LENGTH - 1] + "…")


def _too_much(message: str, place: Place) -> Diagnostic:
    return Diagnostic("error", message, place, "write repeated steps with `rounds:`, not with aliases")
