"""A file → its text, checked before any parsing: size, encoding, characters that no text of ours may hold.

All findings of one file are reported together, each with its line and column.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from cuetrack.errors import Diagnostic, Place, PlanError

# About 5,000 lines: a session of 24 hours fits, and no file can keep the reader busy for long.
MAX_SOURCE_BYTES = 256 * 1024
_MOST_REPORTED = 20

# C0 and C1 controls without tab, line feed and carriage return; the rarer line ends, which editors
# and parsers count differently; a byte order mark in the middle; and what cannot be stored as UTF-8.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]")
_INDENTING_TAB = re.compile("^ *(\t+)")
_LINE_END = re.compile("\r\n|\r|\n")


@dataclass(frozen=True, slots=True)
class Source:
    """A text and the name it is reported under."""

    file: str
    text: str
    lines: tuple[str, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", self.text.removeprefix("\ufeff"))
        object.__setattr__(self, "lines", tuple(_LINE_END.split(self.text)))

    def place(self, line: int, column: int, length: int = 1) -> Place:
        """The place at 1-based `line` and `column`."""
        text = self.lines[line - 1] if line <= len(self.lines) else ""
        return Place(self.file, line, column, max(1, length), text)


def read_source(path: Path) -> Source:
    """The text of `path`, fit to be parsed.

    Raises:
        PlanError: no such file, no ordinary file, too large, not UTF-8, or with characters that are
            not allowed.
    """
    file = str(path)
    source = Source(file, _decoded(_checked_bytes(path), file))
    check_characters(source)
    return source


def check_characters(source: Source) -> None:
    """Raise `PlanError` naming each control character and each indenting tab."""
    found = []
    for number, line in enumerate(source.lines, start=1):
        tabs = _INDENTING_TAB.match(line)
        if tabs:
            place = source.place(number, tabs.start(1) + 1, len(tabs[1]))
            found.append(Diagnostic("error", "tab in the indentation", place, "indent with spaces only"))
        for column, message, hint in control_characters(line):
            found.append(Diagnostic("error", message, source.place(number, column), hint))
    if len(found) > _MOST_REPORTED:
        more = f"{len(found) - _MOST_REPORTED + 1} more characters that are not allowed, from here on"
        found[_MOST_REPORTED - 1 :] = [Diagnostic("error", more, found[_MOST_REPORTED - 1].place)]
    if found:
        raise PlanError(found)


def control_characters(text: str) -> Iterator[tuple[int, str, str]]:
    """Column, message and hint for each character that no text of ours may hold."""
    for control in _CONTROL.finditer(text):
        code = f"U+{ord(control[0]):04X}"
        if "\ud800" <= control[0] <= "\udfff":
            message, hint = (
                f"half a character, {code}, in the text",
                "write the whole character, not its \\u escapes",
            )
        else:
            message, hint = f"control character {code} in the text", "remove it; it cannot be seen or spoken"
        yield control.start() + 1, message, hint


def _checked_bytes(path: Path) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            what = "this is a folder" if path.is_dir() else "this is no ordinary file"
            raise _refused_file(path, what, "name a text file that holds a plan")
        with path.open("rb") as file:
            data = file.read(MAX_SOURCE_BYTES + 1)
    except FileNotFoundError:
        near = "`cuetrack new` writes a plan to begin with"
        raise _refused_file(path, "no such file", near) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        hint = "check the name, and whether you may read it"
        raise _refused_file(path, f"cannot be read: {reason}", hint) from None
    if len(data) > MAX_SOURCE_BYTES:
        limit = f"a plan is a text of at most {MAX_SOURCE_BYTES // 1024} KiB"
        raise _refused_file(path, f"larger than {MAX_SOURCE_BYTES // 1024} KiB", limit)
    return data


def _decoded(data: bytes, file: str) -> str:
    try:
        return data.decode("utf-8")  # `Source` takes a byte order mark away
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8", errors="replace").removeprefix("\ufeff")
        lines = _LINE_END.split(before)
        shown = data.decode("utf-8", errors="replace")
        place = Source(file, shown).place(len(lines), len(lines[-1]) + 1)
        message = f"byte 0x{data[error.start]:02X} is not UTF-8 text"
        raise PlanError(
            [Diagnostic("error", message, place, "save the file with the encoding UTF-8")]
        ) from None


def _refused_file(path: Path, message: str, hint: str) -> PlanError:
    return PlanError([Diagnostic("error", message, Place(str(path), 1, 1, 1, ""), hint)])
