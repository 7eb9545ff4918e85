"""Where in a YAML text comments, braces and texts of several lines are, for `tidy.py`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from ruamel.yaml import YAML
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

_BLANKS_AND_COMMENT = re.compile(" +#")
_COMMENT = re.compile(r"(?:^|(?<=\s))#[^\n]*", re.MULTILINE)

# Line and column, counted from 0.
Place = tuple[int, int]


class Span(NamedTuple):
    """A stretch of a text, from `start` up to `end`."""

    start: int
    end: int


class Marks:
    """Where a text has its comments and braces, and which of its lines begin inside a value.

    `braces` are those in no others, by line and column; `over_lines` are the places of those over several
    lines. Behind `heads`, a dash alone or the head of a block (`|`, `>`), the library may lose a comment.
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._values: list[Span] = []
        self.braces: dict[Place, Span] = {}
        self.over_lines: set[Place] = set()
        self.heads: list[Span] = []
        opened = []
        for token in YAML(typ="safe", pure=True).scan(text):
            start, end = token.start_mark, token.end_mark
            if isinstance(token, FlowMappingStartToken | FlowSequenceStartToken):
                opened.append(start)
            elif isinstance(token, FlowMappingEndToken | FlowSequenceEndToken):
                start = opened.pop()
                if not opened:
                    self.braces[start.line, start.column] = Span(start.index, end.index)
                    self.over_lines |= {(start.line, start.column)} if start.line != end.line else set()
            elif isinstance(token, BlockEntryToken) and (ahead := _BLANKS_AND_COMMENT.match(text, end.index)):
                self.heads.append(Span(start.index, ahead.end()))
            elif isinstance(token, ScalarToken) and token.style in {"|", ">"}:
                self._take_block(Span(start.index, end.index))
            elif isinstance(token, ScalarToken | AliasToken | AnchorToken | TagToken):
                self._values.append(Span(start.index, end.index))
        self.comments = list(self._comments())

    def _take_block(self, block: Span) -> None:
        """The text of a block begins below its head, behind which a comment may stand."""
        line_end = self._text.find("\n", block.start, block.end)
        if line_end >= 0:
            last = block.start + len(self._text[block.start : block.end].rstrip())
            self.heads.append(Span(block.start, line_end))
            self._values.append(Span(line_end, max(line_end, last)))

    def _comments(self) -> Iterator[Span]:
        """Each `#` after a blank, outside all values, to the end of its line."""
        position = 0
        for value in (*self._values, Span(len(self._text), len(self._text))):
            while found := _COMMENT.search(self._text, position, value.start):
                yield Span(*found.span())
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
def marks_in(text: str) -> Marks:
    """The marks of a text, whose lines end with `\\n`, and which reads without a mistake."""
    return Marks(text)
