"""What the YAML parser trips over → what a coach can do about it, at the place where it can be done.

The parser names the place where it gave up (the problem); a bracket or a quote that is not closed is
mended where it was opened (the context).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from ruamel.yaml.error import MarkedYAMLError

from cuetrack.document.source import Source
from cuetrack.errors import Diagnostic, Place, PlanError


@dataclass(frozen=True, slots=True)
class _Explained:
    """`said` is part of the parser's words; `at` is which of its two marks to show.

    `{sign}` in the message stands for the character at that place.
    """

    said: str
    message: str
    hint: str
    at: Literal["problem", "context"] = "problem"


_BEGINS_WITH = "a text cannot begin with {sign}"
_TO_QUOTES = "put the whole text into quotes"
_AFTER_BACKSLASH = "write \\\\ for a plain \\, or use single quotes"
_ONE_PLAN = "one file holds one plan; move the other into a file of its own"
_NO_DIRECTIVE = "this line begins with %, which a plan has no use for"
_LEVELS = "a plan needs no more than ten levels"

# The first that fits is taken.
_EXPLAINED = (
    _Explained(
        "mapping values are not", "a second ': ' in this line", 'put a text that holds ": " into quotes'
    ),
    _Explained(
        "could not find expected ':'",
        "this line is neither `key: value` nor `- item`",
        "write a colon and a space between a key and its value",
        "context",
    ),
    _Explained(
        "scanning a quoted scalar", "this quote is not closed", "close it with the same sign", "context"
    ),
    _Explained("unknown escape character", "there is no escape \\{sign}", _AFTER_BACKSLASH),
    _Explained("expected escape sequence", "the escape before this is not complete", _AFTER_BACKSLASH),
    _Explained(
        "expected ',' or ",
        "this bracket is not closed",
        "close it with its own sign, ] or }, and put commas between the items",
        "context",
    ),
    _Explained("character '\\t'", "a tab where a value begins", "use spaces only"),
    _Explained("cannot start any token", _BEGINS_WITH, _TO_QUOTES),
    _Explained("scanning a block scalar", _BEGINS_WITH, _TO_QUOTES, "context"),
    _Explained("scanning an a", _BEGINS_WITH, _TO_QUOTES, "context"),  # an anchor, an alias
    _Explained("parsing a tag", _BEGINS_WITH, _TO_QUOTES, "context"),
    _Explained("ing an tag", _BEGINS_WITH, _TO_QUOTES, "context"),
    _Explained("undefined tag handle", _BEGINS_WITH, _TO_QUOTES),
    _Explained("mapping keys are not", _BEGINS_WITH, _TO_QUOTES),
    _Explained(
        "more indented follow up", "the lines above are indented more", "indent all lines of a text alike"
    ),
    _Explained(
        "undefined alias", "this alias (*) names nothing", "put a text that begins with * into quotes"
    ),
    _Explained("found another document", "a second document begins here", _ONE_PLAN),
    _Explained("document end marker", "a second document begins here", _ONE_PLAN),
    _Explained("sequence entries are not", "an item cannot begin here", "begin it on a line of its own"),
    _Explained("expected the node content", "a value is missing before this", f"write it, or {_TO_QUOTES}"),
    _Explained("maximum depth", "too many levels", _LEVELS),
    _Explained("directive", _NO_DIRECTIVE, "remove the line"),
    _Explained("incompatible YAML", _NO_DIRECTIVE, "remove the line"),
    _Explained("duplicate tag handle", _NO_DIRECTIVE, "remove the line"),
)
_DASH_WITHOUT_SPACE = re.compile(r"-[^\s\-\d]")
_TYPOGRAPHIC_QUOTES = re.compile("[“”„‘’«»]")
# A code above Unicode's last, which the parser has no words for.
_NO_CHARACTER = re.compile(r"\\U(?!000|0010)[0-9a-fA-F]{8}")


def syntax_error(source: Source, error: MarkedYAMLError) -> PlanError:
    """The parser's `error` in our words."""
    problem, said = _place(source, error, "problem"), f"{error.context}; {error.problem}"
    special = _by_position(source, problem, said, _place(source, error, "context"))
    if special is not None:
        return _one(problem, *special)
    for known in _EXPLAINED:
        if known.said in said:
            place = _place(source, error, known.at)
            sign = place.line_text[place.column - 1 : place.column]
            return _one(place, known.message.format(sign=sign), known.hint)
    return _one(problem, str(error.problem or error.context), _TO_QUOTES)


def _by_position(source: Source, problem: Place, said: str, context: Place) -> tuple[str, str] | None:
    """Message and hint where the same words of the parser mean different things at different places."""
    before, line = problem.line_text[: problem.column - 1], problem.line_text.strip()
    if _DASH_WITHOUT_SPACE.match(line) and "mapping values" not in said:
        return "a dash without a space", f"write a dash and a space: `- {line.lstrip('-')[:40]}`"
    if _TYPOGRAPHIC_QUOTES.search(line) and "mapping values are not" in said and ": " in before:
        return "a second ': ' in this line", "curly quotes do not hold a text together; use straight ones"
    at_its_dash = "expected <block end>" in said and not before.strip(" -")
    if line.startswith("- ") and ("mapping values are not" in said or at_its_dash):
        return "this item does not line up with a list", (
            "line up the dashes of a list; its key, such as `steps:`, stands on a line of its own above it"
        )
    if "mapping values are not" in said and ": " not in before and "{" not in before:
        return "this line is read as part of the text above it", (
            "indent it like its neighbours; and write a colon and a space after each key"
        )
    if "expected ',' or " in said and context.line == problem.line:
        if "got ':'" in said:
            return "a second ': ' in this item", 'put a text that holds ": " into quotes'
        if "got '<" in said and "<stream end>" not in said:
            return "a comma is missing before this", f"write it, or {_TO_QUOTES}"
    if "expected the node content" in said and "<stream end>" in said:
        return "the file ends inside a bracket", "close it with its own sign, ] or }"
    if "expected <block end>" in said or "expected '<document start>'" in said:
        if any(line.startswith("%") for line in source.lines[: problem.line]):
            return "a line begins with %, which a plan has no use for", "remove that line"
        if before.strip(" -"):
            if (sign := before.rstrip()[-1]) in "'\"" and before.count(sign) % 2:
                return (
                    "a quote that was opened in a line above ends here",
                    f"look above for a text that begins with {sign}; close it there, or leave the sign out",
                )
            return (
                "the value has ended before this",
                "remove this, or put the whole text into quotes that it does not hold itself",
            )
        return "the indentation does not match the lines above", "line it up with its neighbours"
    return None


def nothing_written(source: Source, hint: str | None) -> PlanError:
    """For a text that is well-formed and holds nothing."""
    message = "nothing is written in this file" if source.text.strip() else "the file is empty"
    return _one(source.place(1, 1), message, hint)


def too_deep(source: Source) -> PlanError:
    """For nesting that exhausts the parser before it counts the levels."""
    return _one(source.place(1, 1), "too many levels", _LEVELS)


def unreadable(source: Source, error: Exception) -> PlanError:
    """For an error that the parser did not mean to raise."""
    for number, line in enumerate(source.lines, start=1):
        found = _NO_CHARACTER.search(line)
        if found:
            place = source.place(number, found.start() + 1, len(found[0]))
            return _one(place, f"there is no character {found[0]}", "write the character itself")
    return _one(
        source.place(1, 1), f"unreadable YAML ({error})", "put texts with special characters into quotes"
    )


def _place(source: Source, error: MarkedYAMLError, which: Literal["problem", "context"]) -> Place:
    marks = (error.problem_mark, error.context_mark)
    mark = (marks if which == "problem" else marks[::-1])[0] or error.problem_mark or error.context_mark
    return source.place(mark.line + 1, mark.column + 1) if mark else source.place(1, 1)


def _one(place: Place, message: str, hint: str | None) -> PlanError:
    return PlanError([Diagnostic("error", message, place, hint)])
