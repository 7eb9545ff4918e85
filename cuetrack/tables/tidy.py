"""Text of a plan, a house style or a series → the same in one tidy form, every comment kept.

The form: two blanks an indent, lists indented under their key, parts and steps in lines, other braces only
where they fit on one line, texts broken near 100 characters, no two blank lines in a row, comments at line
ends lined up. The order of keys, quotes, and the choice between braces and lines stay the coach's. A comment
of braces that become lines, or behind `|`, moves above them; one in a line of its own is indented as what
stands below it, or as the end of what stands above.
"""

from __future__ import annotations

import io
import re
from bisect import bisect
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import YAMLError
from ruamel.yaml.resolver import VersionedResolver

from cuetrack.document.located import LocatedMap, parse_located
from cuetrack.document.model import Node, read_document
from cuetrack.document.source import MAX_SOURCE_BYTES, Source
from cuetrack.errors import PlanError, TidyError
from cuetrack.plan.house import HOUSE_FILE, House
from cuetrack.plan.model import Session
from cuetrack.plan.series import Series
from cuetrack.tables.comment_columns import heights_of, is_own, lines_apart, with_comments_placed
from cuetrack.tables.marks import Place, Span, marks_in

WIDTH = 100
# Lists of these keys, and their items, are never written in braces.
ALWAYS_IN_LINES = ("parts", "steps")
# Braces that prove too long when they are written are put in lines the next time.
_MOST_TIMES = 4
# What a series has to hold, and a plan may: `lexicon: {series: see-reez}`.
# Blanks alone never reach over line ends: from each of a thousand blank lines all others would be looked at.
_SERIES = re.compile(r"""^(?:\{\s*|[ \t]*)["']?series["']?\s*:""", re.MULTILINE)
_COMMENT_BEHIND_BRACES = re.compile(r"[}\]][ \t]+#")


def tidied_text(text: str, file: str = "plan") -> str:
    """`text` in the tidy form; what it means and its comments stay as they are.

    Raises:
        PlanError: it has mistakes.
        TidyError: the form would not hold all of it.
    """
    document = _document(text, file)
    plain = _plain(text)
    try:
        tidied = _rewritten(plain)
        for _ in range(_MOST_TIMES):
            if marks_in(tidied).over_lines:
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
    """The comments in a YAML text, in their order."""
    plain = _plain(text)
    return [plain[start:end].rstrip() for start, end in marks_in(plain).comments]


def _plain(text: str) -> str:
    """The text without a byte order mark, its lines ended as YAML's writers end them."""
    return re.sub("\r\n|\r", "\n", text.removeprefix("\ufeff"))


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
    """What the text means: a house style by its name, a series by its key, or a plan."""
    source = Source(file, text)
    if Path(file).name == HOUSE_FILE:
        return read_document(source, House)
    return read_document(source, Series if _SERIES.search(text) and _is_series(source) else Session)


def _is_series(source: Source) -> bool:
    """Whether `series` is a key of the text itself, and not one further in, or a word of its notes."""
    try:
        root = parse_located(source, lambda _: None).value
    except PlanError:  # told when it is read
        return True
    return isinstance(root, LocatedMap) and "series" in root and "session" not in root


def _rewritten(text: str) -> str:
    """The text as the tidy form writes it; braces over several lines become lines."""
    yaml = yaml_of_texts()
    opened = marks_in(text).over_lines
    if _COMMENT_BEHIND_BRACES.search(text):  # only then is it worth a look which others become lines
        opened = opened | set(_put_in_lines(yaml.load(text), opened, always=True))
    lines = list(lines_apart(_with_comments_above(text, opened)))
    # The library keeps the columns of comments. At the first, no block of text can come to hold one.
    flat = "\n".join(line.comment or "" if is_own(line) else line.whole for line in lines)
    data = yaml.load(flat)
    list(_put_in_lines(data, marks_in(flat).over_lines, always=True))
    stream = io.StringIO()
    yaml.dump(data, stream)
    return with_comments_placed(stream.getvalue(), heights_of(lines))


def _put_in_lines(value: Any, over_lines: set[Place], *, always: bool) -> Iterator[Place]:
    """Puts into lines what is not to stay in braces; the places of all that are in lines then."""
    if not isinstance(value, CommentedMap | CommentedSeq):
        return
    place = (value.lc.line, value.lc.col)
    if always or place in over_lines:
        value.fa.set_block_style()
        yield place
    items = value.items() if isinstance(value, CommentedMap) else ((None, item) for item in value)
    for key, inner in items:
        yield from _put_in_lines(inner, over_lines, always=key in ALWAYS_IN_LINES or (always and key is None))


def _with_comments_above(text: str, opened: set[Place]) -> str:
    """The text with each comment that might be lost on a line of its own above.

    Those are the ones in braces, behind the braces at the places `opened`, and behind heads.
    """
    marks = marks_in(text)
    spans = list(marks.heads)
    for place, (start, end) in marks.braces.items():
        line_end = text.find("\n", end) % (len(text) + 1)
        spans.append(Span(start, line_end if place in opened else end))
    for start, end in sorted(spans, reverse=True):
        inside = marks.comments[bisect(marks.comments, (start,)) : bisect(marks.comments, (end,))]
        line_start = text.rfind("\n", 0, start) + 1
        above = "".join(f"{text[comment.start : comment.end]}\n" for comment in inside)
        for comment in reversed(inside):
            text = text[: comment.start] + text[comment.end :]
        text = text[:line_start] + above + text[line_start:] if inside else text
    return text
