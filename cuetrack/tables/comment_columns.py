"""The comments of a YAML text in their columns, for `tidy.py`.

A comment in a line of its own is indented as what stands below it or, where it was further in than that, as
the end of what stands above. Those at the ends of neighbouring lines are lined up.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from cuetrack.tables.marks import marks_in


class Line(NamedTuple):
    """A line apart from its comment; `is_inside` where it begins inside a value."""

    whole: str
    text: str
    comment: str | None
    is_inside: bool


def lines_apart(text: str) -> Iterator[Line]:
    """The lines of a text, each apart from its comment."""
    marks = marks_in(text)
    comments = {text.rfind("\n", 0, comment.start) + 1: comment.start for comment in marks.comments}
    inside, start = marks.lines_inside(), 0
    for line in text.split("\n"):
        end = start + len(line)
        at = comments.get(start, end)
        yield Line(line, text[start:at], text[at:end].rstrip() or None, start in inside)
        start = end + 1


def is_own(line: Line) -> bool:
    """Whether nothing but a comment stands in the line."""
    return line.comment is not None and not line.is_inside and not line.text.strip()


def _around(lines: list[Line]) -> Iterator[tuple[Line, list[int], int]]:
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


def heights_of(lines: list[Line]) -> Iterator[int | None]:
    """For each comment in a line of its own: by how many items it is further out than the line above it.

    None for one that belongs to the line below it, since it is not further in.
    """
    for line, columns, below in _around(lines):
        if is_own(line):
            further_in = len(line.text) > below
            yield sum(column > len(line.text) for column in columns) if further_in else None


def with_comments_placed(text: str, heights: Iterator[int | None]) -> str:
    """The text with its comments in their columns, and without two blank lines in a row.

    `heights` are those that its comments in lines of their own had before, in their order.
    """
    lines = _lined_up(_placed(list(lines_apart(text)), heights))
    return "\n".join(lines).strip("\n") + "\n"


def _placed(lines: list[Line], heights: Iterator[int | None]) -> Iterator[tuple[str, str | None]]:
    """Text and comment of each line; one in a line of its own is its text, as far in as `heights` say."""
    is_blank = True
    for line, columns, below in _around(lines):
        if is_own(line):
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
