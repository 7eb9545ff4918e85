"""Text of a plan, a house style or a series → the same in one tidy form, every comment kept.

The form: two blanks an indent, lists indented under their key, parts and steps in lines, other braces only
where they fit on one line, texts broken near 100 characters, no two blank lines in a row, comments at line
ends lined up. The order of keys, quotes, and the choice between braces and lines stay the coach's. A comment
inside braces over several lines, or behind `|`, moves above them; one in a line of its own is indented as
what stands below it, or as the end of what stands above.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import YAMLError
from ruamel.yaml.resolver import VersionedResolver
from ruamel.yaml.tokens import (
    AliasToken,
    AnchorToken,
    BlockEntryToken,
    FlowMappingEndToken,
    FlowMappingStartToken,
    FlowSequenceEndToken,
    FlowSequenceStartToken,
    ScalarToken,
    TagToken,
)

from cuetrack.document.model import Node, read_document
from cuetrack.document.source import MAX_SOURCE_BYTES, Source
from cuetrack.errors import TidyError
from cuetrack.plan.house import HOUSE_FILE, House
from cuetrack.plan.model import Session
from cuetrack.plan.series import Series

WIDTH = 100
# Lists of these keys, and their items, are never written in braces.
ALWAYS_IN_LINES = ("parts", "steps")
# Braces that prove too long when they are written are put in lines the next time.
_MOST_TIMES = 4
_SERIES = re.compile(r"""^\{?\s*["']?series["']?\s*:""", re.MULTILINE)
_BLANKS_AND_COMMENT = re.compile(" +#")
_COMMENT = re.compile(r"(?:^|(?<=\s))#[^\n]*", re.MULTILINE)


def tidied_text(text: str, file: str = "plan") -> str:
    """`text` in the tidy form; what it means and its comments stay as they are.

    Raises:
        PlanError: it has mistakes.
        TidyError: the form would not hold all of it.
    """
    document = _document(text, file)
    plain = re.sub("\r\n|\r", "\n", text.removeprefix("\ufeff"))
    try:
        tidied = _rewritten(plain)
        for _ in range(_MOST_TIMES):
            if _marks(tidied).over_lines:
                tidied = _rewritten(tidied)
    except YAMLError:  # the library wrote what it cannot read
        raise TidyError(f"{file}: the tidy form cannot hold it; it is left as it is") from None
    if len(tidied.encode()) > MAX_SOURCE_BYTES:
        size = f"{MAX_SOURCE_BYTES // 1024} KiB"
        raise TidyError(f"{file}: with its lines indented it is larger than {size}; it is left as it is")
    if Counter(comments(tidied)) != Counter(comments(plain)):
        raise TidyError(f"{file}: the tidy form would change a comment; it is left as it is")
    if _document(tidied, file) != document:
        raise TidyError(f"{file}: the tidy form would change what it means; it is left as it is")
    return tidied


def comments(text: str) -> list[str]:
    """The comments in `text`, YAML with `\\n` at its line ends, in their order."""
    return [text[start:end].rstrip() for start, end in _marks(text).comments]


def yaml_of_texts() -> YAML:
    """The reader and writer of the tidy form, for which every plain scalar is a text, as in a plan."""
    yaml = YAML()
    yaml.Resolver = _Texts
    yaml.preserve_quotes = True
    yaml.brace_single_entry_mapping_in_flow_sequence = True
    yaml.width = WIDTH
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml


class _Texts(VersionedResolver):
    @property
    def versioned_resolver(self) -> dict[str, Any]:
        return {}


def _document(text: str, file: str) -> Node:
    """What the text means: a house style by its name, a series by its first key, or a plan."""
    source = Source(file, text)
    if Path(file).name == HOUSE_FILE:
        return read_document(source, House)
    return read_document(source, Series if _SERIES.search(text) else Session)


class _Span(NamedTuple):
    start: int
    end: int


class _Marks:
    """Where in a YAML text its comments and braces are, and which of its lines begin inside a value.

    `without_comments` are where the library does not keep comments well: in braces, behind those over several
    lines, behind a dash alone and behind the heads of blocks (`|`, `>`). `over_lines` has line and column of
    braces over several lines.
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._values: list[_Span] = []
        self.over_lines: set[tuple[int, int]] = set()
        self.without_comments: list[_Span] = []
        opened = []
        for token in YAML(typ="safe", pure=True).scan(text):
            start, end = token.start_mark, token.end_mark
            if isinstance(token, FlowMappingStartToken | FlowSequenceStartToken):
                opened.append(start)
            elif isinstance(token, FlowMappingEndToken | FlowSequenceEndToken):
                start = opened.pop()
                if opened:
                    continue
                last = end.index
                if start.line != end.line:
                    self.over_lines.add((start.line, start.column))
                    last = text.find("\n", end.index) % (len(text) + 1)
                self.without_comments.append(_Span(start.index, last))
            elif isinstance(token, BlockEntryToken) and (ahead := _BLANKS_AND_COMMENT.match(text, end.index)):
                self.without_comments.append(_Span(start.index, ahead.end()))
            elif isinstance(token, ScalarToken) and token.style in {"|", ">"}:
                self._take_block(_Span(start.index, end.index))
            elif isinstance(token, ScalarToken | AliasToken | AnchorToken | TagToken):
                self._values.append(_Span(start.index, end.index))
        self.comments = tuple(self._comments())

    def _take_block(self, block: _Span) -> None:
        """The text of a block begins below its head, behind which a comment may stand."""
        line_end = self._text.find("\n", block.start, block.end)
        if line_end >= 0:
            last = block.start + len(self._text[block.start : block.end].rstrip())
            self.without_comments.append(_Span(block.start, line_end))
            self._values.append(_Span(line_end, max(line_end, last)))

    def _comments(self) -> Iterator[_Span]:
        """Each `#` after a blank, outside all values, to the end of its line."""
        position = 0
        for value in (*self._values, _Span(len(self._text), len(self._text))):
            while found := _COMMENT.search(self._text, position, value.start):
                yield _Span(*found.span())
                position = found.end()
            position = value.end

    def lines_inside(self) -> set[int]:
        """Where lines start that belong to a value from a line above."""
        return {
            found.end()
            for start, end in self._values
            for found in re.compile("\n").finditer(self._text, start, end - 1)
        }


@lru_cache(maxsize=4)
def _marks(text: str) -> _Marks:
    return _Marks(text)


def _with_comments_above(text: str) -> str:
    """The text with each comment that might be lost on a line of its own above."""
    marks = _marks(text)
    for closed in reversed(marks.without_comments):
        inside = [comment for comment in marks.comments if closed.start < comment.start < closed.end]
        line_start = text.rfind("\n", 0, closed.start) + 1
        above = "".join(f"{text[comment.start : comment.end]}\n" for comment in inside)
        for comment in reversed(inside):
            text = text[: comment.start] + text[comment.end :]
        text = text[:line_start] + above + text[line_start:]
    return text


def _rewritten(text: str) -> str:
    """The text as the tidy form writes it; braces over several lines become lines."""
    lines = list(_apart(_with_comments_above(text)))
    # The library keeps the columns of comments. At the first, no block of text can come to hold one.
    flat = "\n".join(line.comment or "" if _is_own(line) else line.whole for line in lines)
    yaml = yaml_of_texts()
    data = yaml.load(flat)
    _put_in_lines(data, _marks(flat).over_lines, always=True)
    stream = io.StringIO()
    yaml.dump(data, stream)
    written = _indented(list(_apart(stream.getvalue())), _heights(lines))
    return "\n".join(_lined_up(written)).strip("\n") + "\n"


def _put_in_lines(value: Any, over_lines: set[tuple[int, int]], *, always: bool) -> None:
    if not isinstance(value, CommentedMap | CommentedSeq):
        return
    if always or (value.lc.line, value.lc.col) in over_lines:
        value.fa.set_block_style()
    items = value.items() if isinstance(value, CommentedMap) else ((None, item) for item in value)
    for key, inner in items:
        _put_in_lines(inner, over_lines, always=key in ALWAYS_IN_LINES or (always and key is None))


class _Line(NamedTuple):
    """A line apart from its comment; `is_inside` where it begins inside a value."""

    whole: str
    text: str
    comment: str | None
    is_inside: bool


def _apart(text: str) -> Iterator[_Line]:
    marks = _marks(text)
    comments = {text.rfind("\n", 0, comment.start) + 1: comment.start for comment in marks.comments}
    inside, start = marks.lines_inside(), 0
    for line in text.split("\n"):
        end = start + len(line)
        at = comments.get(start, end)
        yield _Line(line, text[start:at], text[at:end].rstrip() or None, start in inside)
        start = end + 1


def _is_own(line: _Line) -> bool:
    """Whether nothing but a comment stands in the line."""
    return line.comment is not None and not line.is_inside and not line.text.strip()


def _around(lines: list[_Line]) -> Iterator[tuple[_Line, list[int], int]]:
    """Each line, the columns where the items it is in begin, outermost first, and where the next does."""
    below, columns_below = 0, []
    for line in reversed(lines):
        below = _indent(line.text) if line.text.strip() and not line.is_inside else below
        columns_below.append(below)
    columns = [0]
    for line, below in zip(lines, reversed(columns_below), strict=True):
        if line.text.strip() and not line.is_inside:
            columns = _columns(columns, line.text)
        yield line, columns, below


def _indent(text: str) -> int:
    return len(text) - len(text.lstrip(" "))


def _columns(above: list[int], text: str) -> list[int]:
    own = [_indent(text)]
    while text[own[-1] : own[-1] + 2] == "- ":
        own.append(own[-1] + 2)
    return [column for column in above if column < own[0]] + own


def _heights(lines: list[_Line]) -> Iterator[int | None]:
    """For each comment in a line of its own: by how many items it is further out than the line above it.

    None for one that belongs to the line below it, since it is not further in.
    """
    for line, columns, below in _around(lines):
        if _is_own(line):
            further_in = len(line.text) > below
            yield sum(column > len(line.text) for column in columns) if further_in else None


def _indented(lines: list[_Line], heights: Iterator[int | None]) -> Iterator[tuple[str, str | None]]:
    """Text and comment of each line; one in a line of its own is its text, as far in as `heights` say."""
    is_blank = True
    for line, columns, below in _around(lines):
        if _is_own(line):
            height = next(heights, None)
            column = below if height is None else max(below, columns[max(0, len(columns) - 1 - height)])
            yield f"{'':{column}}{line.comment}", None
        elif line.is_inside and line.comment is None:
            yield line.text, None
        elif line.text.strip() or not is_blank:
            yield line.text.rstrip(), line.comment
        is_blank = not line.whole.strip() and not line.is_inside


def _lined_up(lines: Iterator[tuple[str, str | None]]) -> Iterator[str]:
    """The lines with the comments of neighbouring ones in one column."""
    for has_comment, run in groupby(lines, key=lambda line: line[1] is not None):
        neighbours = list(run)
        column = max(len(text) for text, _ in neighbours) + 2
        for text, comment in neighbours:
            yield f"{text:<{column}}{comment}" if has_comment else text
