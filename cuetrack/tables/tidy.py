"""Plan text → the same plan in one tidy form, every comment kept.

The form: two blanks an indent, lists indented under their key, keys in the order of the plan language,
at most one blank line, comments at line ends lined up, braces only where they fit on one line, long
texts broken at 100 characters. Quotes and the choice between braces and lines stay the coach's.
Where a comment stands on a line of its own between the keys of a mapping, or the plan has anchors, the
keys stay in their order, since a comment may speak of several and an alias follows its anchor.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from cuetrack.document.model import Node
from cuetrack.document.source import MAX_SOURCE_BYTES
from cuetrack.errors import CuetrackError
from cuetrack.plan.model import (
    Bed,
    Calls,
    CountCall,
    FinishCall,
    FreeCue,
    MoveStep,
    Option,
    Part,
    RestStep,
    Session,
    Stage,
    StageCall,
    TalkStep,
)
from cuetrack.plan.text import parse_plan
from cuetrack.tables.layout import Comment, Item, Layout, Value, layout_of

WIDTH = 100
_INDENT = 2
# Lists of these keys, and their items, are never written in braces.
_ALWAYS_LINES = {"parts", "steps"}
_SINGLE_BLANK = re.compile(r"(?<=\S) (?=\S)")
_STEPS: dict[str, type[Node]] = {"move": MoveStep, "rest": RestStep, "talk": TalkStep}
_CALLS: dict[str, type[Node]] = {"start": CountCall, "finish": FinishCall, "stage": StageCall}
_MODELS: dict[str, type[Node]] = {"parts": Part, "stages": Stage, "cues": FreeCue, "calls": Calls, "bed": Bed}
_MODELS |= {"easier": Option, "harder": Option}


class UntidyError(CuetrackError):
    """A plan that cannot be put into the tidy form without losing something."""


def tidied_plan(text: str, file: str = "plan") -> str:
    """`text` in the tidy form; the session in it and the comments stay what they are.

    Raises:
        PlanError: the plan has mistakes.
        UntidyError: the form would not hold all of it.
    """
    session = parse_plan(text, file)
    plain = re.sub("\r\n|\r", "\n", text.removeprefix("\ufeff"))
    before = layout_of(plain)
    tidied = "\n".join(_texts(_Writer(before).lines())) + "\n"
    if len(tidied.encode()) > MAX_SOURCE_BYTES:
        size = f"{MAX_SOURCE_BYTES // 1024} KiB"
        raise UntidyError(f"{file}: indented in lines it is larger than {size}; it is left as it is")
    same_comments = Counter(layout_of(tidied).comments) == Counter(before.comments)
    if not same_comments or parse_plan(tidied, file) != session:
        what = "its session" if same_comments else "a comment"
        raise UntidyError(f"{file}: the tidy form would change {what}; it is left as it is")
    return tidied


def comment_count(text: str) -> int:
    """How many comments stand in the plan `text`, which has to read without mistakes."""
    return len(layout_of(re.sub("\r\n|\r", "\n", text.removeprefix("\ufeff"))).comments)


@dataclass(slots=True)
class _Line:
    text: str
    comment: str | None = None


_BLANK = _Line("")


def _texts(lines: Sequence[_Line]) -> Iterator[str]:
    """The lines, with comments at the ends of neighbouring ones in one column."""
    for has_comment, run in groupby(lines, key=lambda line: line.comment is not None):
        group = list(run)
        if not has_comment:
            yield from (line.text for line in group)
            continue
        column = max(len(line.text) for line in group) + 2
        yield from (f"{line.text:<{column}}{line.comment}" for line in group)


class _Writer:
    def __init__(self, layout: Layout) -> None:
        self._layout = layout

    def lines(self) -> list[_Line]:
        """The whole plan."""
        root = self._layout.root
        head = _comment_lines(self._layout.head, 0)
        if head and self._layout.blank_below_head:
            head.append(_BLANK)
        return _without_blank(head) + self._collection(root, 0, ())

    def _collection(self, value: Value, indent: int, path: tuple[str, ...]) -> list[_Line]:
        """The items of a mapping or list, each in lines of its own."""
        lines: list[_Line] = []
        for item in self._ordered(value, path):
            lines += self._item(item, indent, (*path, item.key.text) if item.key else path)
        return _without_blank(lines + _comment_lines(value.tail, indent))

    def _item(self, item: Item, indent: int, path: tuple[str, ...]) -> list[_Line]:
        """The comments above an item, its first line and what is below."""
        of_first_key, lines = self._content(item, indent, path)
        trailing = [comment.text for comment in item.trailing]
        # A comment behind a text broken over several lines can only stand at its end.
        at = -1 if item.value.is_text and item.value.style not in {"|", ">"} else 0
        if trailing and lines[at].comment is None:
            lines[at].comment = trailing.pop(0)
        above = [_Line(" " * indent + text) for text in trailing]
        above = [*_comment_lines(item.leading, indent), *above, *of_first_key]
        if item.blank_before:
            above.insert(len(above) if item.leading else 0, _BLANK)
        return [*above, *lines]

    def _content(self, item: Item, indent: int, path: tuple[str, ...]) -> tuple[list[_Line], list[_Line]]:
        """Comments that move above the item, and its lines; its value begins on the first."""
        value = item.value
        head = " " * indent + (f"{_key_text(item.key)}:" if item.key else "-")
        anchored = f"{head} &{value.anchor}" if value.anchor else head
        if value.is_text:
            return [], _scalar_lines(value, anchored, indent)
        always = bool(path) and path[-1] in _ALWAYS_LINES and bool(value.items)
        braces = None if always or not value.in_braces else _in_braces(value, with_anchor=False)
        if braces is not None and (len(anchored) + 1 + len(braces) <= WIDTH or not value.items):
            return [], [_Line(f"{anchored} {braces}")]
        below = self._collection(value, indent + _INDENT, path)
        if item.key is not None or value.anchor:
            return [], [_Line(anchored), *below]
        # The dash stands on the line of the first key or item.
        first = next(n for n, line in enumerate(below) if line.text.strip() and line.text.lstrip()[0] != "#")
        above = [_Line(" " * indent + line.text.strip() if line.text else "") for line in below[:first]]
        below[first].text = f"{head} {below[first].text[indent + _INDENT :]}"
        return above, below[first:]

    def _ordered(self, value: Value, path: tuple[str, ...]) -> list[Item]:
        between = value.items[1:] if value is self._layout.root else value.items
        if not value.is_mapping or self._layout.has_anchors or any(item.leading for item in between):
            return value.items
        keys = [item.key.text for item in value.items if item.key]
        order = _key_order(path, keys)
        if order is None:
            return value.items
        ranks = {key: rank for rank, key in enumerate(order)}
        # What is no key of ours is the name of a stage, in the short form.
        return sorted(value.items, key=lambda item: ranks.get(item.key.text if item.key else "", -1))


def _key_order(path: tuple[str, ...], keys: Sequence[str]) -> Sequence[str] | None:
    """The order of the plan language for the mapping at `path`; None where the coach's own order stands."""
    if not path:
        return Session.allowed_keys()
    if path[-1] == "steps":
        return next((model.allowed_keys() for key, model in _STEPS.items() if key in keys), None)
    if path[-2:-1] == ("calls",) and path[-1] in _CALLS:
        return _CALLS[path[-1]].allowed_keys()
    model = _MODELS.get(path[-1])
    return model.allowed_keys() if model else None


def _comment_lines(comments: Sequence[Comment], indent: int) -> list[_Line]:
    lines: list[_Line] = []
    for comment in comments:
        if comment.blank_before:
            lines.append(_BLANK)
        lines.append(_Line(" " * indent + comment.text))
    return lines


def _without_blank(lines: list[_Line]) -> list[_Line]:
    """The lines without blank ones at the beginning."""
    while lines and not lines[0].text and lines[0].comment is None:
        lines = lines[1:]
    return lines


def _key_text(key: Value) -> str:
    return key.written if "\n" not in key.written and key.style not in {"|", ">"} else _quoted(key.text)


def _quoted(text: str) -> str:
    """Double quotes as JSON has them, which YAML 1.2 reads alike."""
    return json.dumps(text, ensure_ascii=False)


def _in_braces(value: Value, *, with_anchor: bool = True) -> str | None:
    """The value on one line inside braces; None if it has to stand in lines."""
    if value.holds_comment:
        return None
    anchor = f"&{value.anchor} " if value.anchor and with_anchor else ""
    if value.is_text:
        return anchor + (value.written if "\n" not in value.written else _quoted(value.text))
    parts = []
    for item in value.items:
        inner = _in_braces(item.value)
        if inner is None:
            return None
        parts.append(f"{_key_text(item.key)}: {inner}" if item.key else inner)
    opening, closing = "{}" if value.is_mapping else "[]"
    return f"{anchor}{opening}{', '.join(parts)}{closing}"


def _scalar_lines(value: Value, head: str, indent: int) -> list[_Line]:
    if value.style in {"|", ">"}:
        return _block_lines(value, head, indent)
    if not value.written:
        return [_Line(head)]
    if value.style in {'"', "'"}:
        return [_Line(f"{head} {value.written if chr(10) not in value.written else _quoted(value.text)}")]
    if "\n" not in value.written and len(head) + 1 + len(value.written) <= WIDTH:
        return [_Line(f"{head} {value.written}")]
    return _wrapped(value.written if value.style == "*" else value.text, head, " " * (indent + _INDENT))


def _wrapped(text: str, head: str, margin: str) -> list[_Line]:
    """A text without quotes over several lines; a line end in it is written as a blank line more."""
    lines = [head]
    for number, paragraph in enumerate(text.split("\n")):
        if number:
            lines += ["", margin]
        for word in _SINGLE_BLANK.split(paragraph):
            gap = "" if lines[-1] == margin else " "
            if len(lines[-1]) + len(gap) + len(word) > WIDTH and lines[-1] not in {head, margin}:
                lines.append(margin)
                gap = ""
            lines[-1] += gap + word
    return [_Line("" if line == margin else line) for line in lines]


def _block_lines(value: Value, head: str, indent: int) -> list[_Line]:
    header, _, body = value.written.partition("\n")
    lines = body.rstrip().split("\n") if body.strip() else []
    margins = [len(line) - len(line.lstrip(" ")) for line in lines if line.strip()]
    if not lines or re.match(r"[|>][-+]*\d", header):
        return [_Line(f"{head} {_quoted(value.text.strip())}")]
    margin = next(iter(margins))
    kept = [line[margin:] for line in lines]
    new = " " * (indent + _INDENT)
    return [_Line(f"{head} {value.style}"), *(_Line(new + line if line else "") for line in kept)]
