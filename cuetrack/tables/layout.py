"""Plan text → the tree of its values with the comments that belong to each, for `tidy.py`.

A comment at the end of a line belongs to the item on that line. A comment on a line of its own belongs
to the item below it; if it is indented further than that, to the end of the list or mapping above.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

from ruamel.yaml import YAML
from ruamel.yaml.events import (
    AliasEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

# Anchors, tags and what may stand between them and the value they are about.
_PROPERTIES = re.compile(r"(?:[&!]\S*|\s+#[^\n]*|\s+)+")
_BLOCK_HEADER = re.compile(r"[|>][-+\d]*")
_COMMENT = re.compile(r"(?:^|(?<=\s))#[^\n]*", re.MULTILINE)


@dataclass(slots=True)
class Comment:
    """A comment, from its `#` to the end of the line."""

    text: str
    blank_before: bool


@dataclass(slots=True, eq=False)
class Value:
    """A value as it is written: a text, an alias (both without items), a mapping or a list.

    `start` and `end` are positions in the text, without anchor and tag; `column` is where the items of
    a mapping or list begin that is written in lines.
    """

    start: int
    end: int
    text: str = ""
    written: str = ""
    style: str = ""
    anchor: str | None = None
    is_mapping: bool = False
    is_list: bool = False
    in_braces: bool = False
    holds_comment: bool = False
    column: int = 0
    items: list[Item] = field(default_factory=list)
    tail: list[Comment] = field(default_factory=list)
    item: Item | None = None

    @property
    def is_text(self) -> bool:
        """Whether it is a text or an alias."""
        return not (self.is_mapping or self.is_list)


@dataclass(slots=True, eq=False)
class Item:
    """One `key: value` of a mapping, or one item of a list (no key)."""

    owner: Value
    key: Value | None
    value: Value
    start: int
    blank_before: bool
    leading: list[Comment] = field(default_factory=list)
    trailing: list[Comment] = field(default_factory=list)


@dataclass(slots=True)
class Layout:
    """The whole document: its root, and the comments above everything."""

    root: Value
    head: list[Comment]
    blank_below_head: bool
    comments: tuple[str, ...]
    has_anchors: bool


def layout_of(text: str) -> Layout:
    """The tree of `text`, which has to be a plan that reads without mistakes, its lines ended by `\\n`."""
    walk = _Walk(text)
    root = walk.value(walk.next_event())
    found = list(_comments(text, walk.spans))
    head = _Attaching(text, root, walk.items).attach(found)
    blank_below_head = root.items[0].blank_before
    for item in walk.items:  # no blank line above the first, wherever it moves
        item.blank_before = item.blank_before and (item is not item.owner.items[0] or bool(item.leading))
    return Layout(root, head, blank_below_head, tuple(text[start:end].rstrip() for start, end in found), walk.has_anchors)


class _Walk:
    """One pass over the parser's events."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._events: Iterator[Event] = iter(YAML(typ="safe", pure=True).parse(text))
        self.spans: list[tuple[int, int]] = []
        self.items: list[Item] = []
        self.has_anchors = False

    def next_event(self) -> Event:
        """The next event about a value or the end of one."""
        kinds = (ScalarEvent, AliasEvent, MappingStartEvent, SequenceStartEvent)
        for event in self._events:
            if isinstance(event, (*kinds, MappingEndEvent, SequenceEndEvent)):
                return event
        raise ValueError("the text ends inside a value")

    def value(self, event: Event) -> Value:
        start, end = event.start_mark.index, event.end_mark.index
        anchor = getattr(event, "anchor", None)
        self.has_anchors = self.has_anchors or anchor is not None
        if isinstance(event, AliasEvent):
            self.spans.append((start, end))
            return Value(start, end, written=f"*{anchor}", style="*")
        if isinstance(event, ScalarEvent):
            start = self._behind_properties(start, end)
            return self._scalar(event, start, end, anchor)
        start = self._behind_properties(start, end)
        value = Value(start, end, anchor=anchor, in_braces=bool(getattr(event, "flow_style", False)))
        if isinstance(event, MappingStartEvent):
            value.is_mapping = True
            while not isinstance(key_event := self.next_event(), MappingEndEvent):
                self._mapping_item(value, key_event)
        else:
            value.is_list = True
            while not isinstance(key_event := self.next_event(), SequenceEndEvent):
                self._list_item(value, key_event)
        value.end = max(value.items[-1].value.end if value.items else end, key_event.end_mark.index)
        if value.items and not value.in_braces:
            value.column = self._column(value)
            value.end = value.items[-1].value.end
        return value

    def _scalar(self, event: ScalarEvent, start: int, end: int, anchor: str | None) -> Value:
        style, written = event.style or "", self._text[start:end]
        header = _BLOCK_HEADER.match(written) if style in {"|", ">"} else None
        if header:  # a comment behind the header is none of the text
            line_end = self._text.find("\n", start)
            self.spans += [(start, start + header.end()), (line_end if line_end >= 0 else end, end)]
        else:
            self.spans.append((start, end))
        return Value(start, end, str(event.value), written, style, anchor)

    def _mapping_item(self, owner: Value, key_event: Event) -> None:
        key = self.value(key_event)
        at = len(self.items)
        item = Item(owner, key, key, key.start, self._blank_before(key.start))
        self.items.insert(at, item)
        item.value = self.value(self.next_event())
        item.value.item = item
        owner.items.append(item)

    def _list_item(self, owner: Value, event: Event) -> None:
        start = event.start_mark.index
        if not owner.in_braces:
            start = max(self._text.rfind("-", 0, start), 0)
        at = len(self.items)
        placeholder = Value(start, start)
        item = Item(owner, None, placeholder, start, self._blank_before(start))
        self.items.insert(at, item)
        item.value = self.value(event)
        item.value.item = item
        owner.items.append(item)

    def _behind_properties(self, start: int, end: int) -> int:
        """Where the value itself begins; an anchor or a tag may stand before it."""
        properties = _PROPERTIES.match(self._text, start) if self._text[start : start + 1] in "&!" else None
        if properties is None:
            return start
        return min(properties.end(), end) if end > start else properties.end()

    def _column(self, value: Value) -> int:
        start = value.items[0].start
        return start - (self._text.rfind("\n", 0, start) + 1)

    def _blank_before(self, start: int) -> bool:
        return _blank_before(self._text, start)


def _blank_before(text: str, position: int) -> bool:
    """Whether the line above that of `position` is blank."""
    line_start = text.rfind("\n", 0, position) + 1
    above = text.rfind("\n", 0, max(line_start - 1, 0)) + 1
    return line_start > 0 and not text[above : line_start - 1].strip()


def _comments(text: str, spans: list[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Start and end of each comment: a `#` after a blank, outside all texts."""
    spans = sorted(spans)
    starts = [start for start, _ in spans]
    position = 0
    while found := _COMMENT.search(text, position):
        at = bisect_right(starts, found.start()) - 1
        if at >= 0 and spans[at][1] > found.start():
            position = max(spans[at][1], found.start() + 1)
            continue
        yield found.start(), found.end()
        position = found.end()


class _Attaching:
    """Gives every comment to the item or the collection that it belongs to."""

    def __init__(self, text: str, root: Value, items: list[Item]) -> None:
        self._text = text
        self._root = root
        self._items = sorted(items, key=lambda item: item.start)  # an item before those in its value
        self._starts = [item.start for item in self._items]
        self._gap: tuple[int, int | None] = (-1, None)

    def attach(self, comments: list[tuple[int, int]]) -> list[Comment]:
        """The comments above everything; all others are attached."""
        head: list[Comment] = []
        for start, end in comments:
            line_start = self._text.rfind("\n", 0, start) + 1
            comment = Comment(self._text[start:end].rstrip(), _blank_before(self._text, start))
            own_line = not self._text[line_start:start].strip()
            before = bisect_left(self._starts, start)
            if not before:
                head.append(comment)
            elif own_line:
                self._attach_line(comment, start, start - line_start, before)
            else:
                self._attach_behind(comment, start, self._items[before - 1])
        return head

    def _attach_behind(self, comment: Comment, start: int, item: Item) -> None:
        """A comment at the end of a line, behind braces that are closed there perhaps."""
        owner: Value | None = item.owner
        while owner is not None:
            if owner.in_braces and owner.end <= start and owner.item is not None:
                item = owner.item
            owner = owner.item.owner if owner.item else None
        _mark_braces(item.value, start)
        item.trailing.append(comment)

    def _attach_line(self, comment: Comment, start: int, column: int, before: int) -> None:
        following = self._items[before] if before < len(self._items) else None
        chain = list(_owners(self._items[before - 1].owner))
        value = self._items[before - 1].value
        chain = [value, *chain] if value.in_braces else chain
        inside = next((owner for owner in chain if owner.in_braces and owner.start < start < owner.end), None)
        if inside is not None:
            _mark_braces(inside, start)
            to_next = following is not None and following.owner is inside
            (following.leading if to_next and following else inside.tail).append(comment)
            return
        chain = [owner for owner in chain if not owner.in_braces]
        depth = next((n for n, owner in enumerate(chain) if owner.column <= column), len(chain) - 1)
        if self._gap[0] == before:  # comments of one gap keep their order
            if self._gap[1] is None and following is not None:
                following.leading.append(comment)
                return
            depth = max(depth, self._gap[1] or 0)
        if not chain:
            self._root.tail.append(comment)
            return
        beside = following is not None and not following.owner.in_braces and column <= following.owner.column
        if following is not None and (beside or chain[depth] in list(_owners(following.owner))):
            self._gap = (before, None)
            following.leading.append(comment)
            return
        self._gap = (before, depth)
        chain[depth].tail.append(comment)


def _owners(owner: Value | None) -> Iterator[Value]:
    """`owner` and all that hold it, the innermost first."""
    while owner is not None:
        yield owner
        owner = owner.item.owner if owner.item else None


def _mark_braces(owner: Value, position: int) -> None:
    """Braces that hold a comment have to be written in lines."""
    for holder in _owners(owner):
        if holder.in_braces and holder.start < position < holder.end:
            holder.holds_comment = True
