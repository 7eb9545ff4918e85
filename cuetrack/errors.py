"""Everything that can go wrong, as one family: `CuetrackError`, one branch a room.

Errors carry fields; their sentences are built here or in the class, so that tests check fields and
people read sentences. A `Diagnostic` is one finding about a plan, with the place it is about.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from enum import IntEnum
from typing import Literal


class ExitCode(IntEnum):
    """What the program tells its caller when it ends."""

    DONE = 0
    ERRORS = 1
    WRONG_USAGE = 2
    MACHINE_LACKS = 3
    INTERRUPTED = 130  # 128 + SIGINT, as shells count


@dataclass(frozen=True, slots=True)
class Place:
    """A stretch of one line in a text file; line and column count from 1, in characters."""

    file: str
    line: int
    column: int
    length: int
    line_text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One finding: what was found and what is allowed, where, and what to do next."""

    severity: Literal["error", "warning"]
    message: str
    place: Place | None = None
    hint: str | None = None

    def __str__(self) -> str:
        head = f"{self.severity}: {self.message}"
        lines = [head]
        if self.place is not None:
            lines = [f"{self.place}: {head}", *_quoted_line(self.place)]
        if self.hint is not None:
            lines.append(f"    hint: {self.hint}")
        return "\n".join(lines)


_QUOTE_WIDTH = 100


def _quoted_line(place: Place) -> list[str]:
    """The line with a caret under the stretch; a long line is cut around it."""
    start = place.column - 1
    cut = 0 if start < _QUOTE_WIDTH * 3 // 4 else start - _QUOTE_WIDTH // 4
    # A tab or an unprintable character would move the caret away from what it points at.
    shown = "".join(c if c.isprintable() else " " for c in place.line_text[cut : cut + _QUOTE_WIDTH])
    if not shown.strip():
        return []
    indent = min(len(shown) - len(shown.lstrip()), start - cut)
    room = max(1, len(shown.rstrip()) - (start - cut))
    caret = " " * (start - cut - indent) + "^" * max(1, min(place.length, room))
    return [f"    {shown[indent:].rstrip()}", f"    {caret}"]


class CuetrackError(Exception):
    """Root of all errors that this program raises on purpose."""

    exit_code: ExitCode = ExitCode.ERRORS


class TimeError(CuetrackError):
    """A text is not a time, or a time is outside what is allowed."""

    def __init__(self, message: str, hint: str | None = None) -> None:
        super().__init__(message)
        self.hint = hint


class PlanError(CuetrackError):
    """A plan or another text of ours has mistakes; holds every one of them, in the order of the lines.

    Of several files, such as the plans of a series, the one that is named first comes first.
    """

    def __init__(self, diagnostics: Iterable[Diagnostic]) -> None:
        self.diagnostics = tuple(_in_order(list(diagnostics)))
        super().__init__("\n".join(str(diagnostic) for diagnostic in self.diagnostics))


def _in_order(diagnostics: list[Diagnostic]) -> list[Diagnostic]:
    """File by file, line by line; first what has no place."""
    files = dict.fromkeys(found.place.file for found in diagnostics if found.place)
    numbers = {file: number for number, file in enumerate(files)}

    def position(found: Diagnostic) -> tuple[int, int, int]:
        place = found.place
        return (numbers[place.file], place.line, place.column) if place else (-1, 0, 0)

    return sorted(diagnostics, key=position)


class ConformError(PlanError):
    """The sounds of a plan do not fit its times; points at the lines that must give way."""


class NamedFileError(CuetrackError):
    """A file that a document names cannot be used."""

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.hint = hint


class SoundError(CuetrackError):
    """A sound cannot be made as asked."""


def how_to_add(extra: str) -> str:
    """How one of our extras comes onto this machine, for the end of a sentence.

    In double quotes, since the command line of Windows knows no single ones.
    """
    return f'python -m pip install ".[{extra}]" in the folder of CueTrack brings it'


class MediaMissingError(SoundError):
    """What reads, writes or plays sound, or writes another kind of file, is not on this machine."""

    exit_code = ExitCode.MACHINE_LACKS


class SpeechError(CuetrackError):
    """A phrase could not be spoken."""


class VoiceMissingError(SpeechError):
    """The voice's engine is not on this machine."""

    exit_code = ExitCode.MACHINE_LACKS


class TidyError(CuetrackError):
    """A text cannot be put into its tidy form without losing something."""


class TableMissingError(CuetrackError):
    """What reads and writes a kind of table is not on this machine."""

    exit_code = ExitCode.MACHINE_LACKS


class TimelineError(CuetrackError):
    """A file is no timeline of ours."""


class TakeError(CuetrackError):
    """A recording cannot be lined up with its session."""


class WriteError(CuetrackError):
    """A file could not be written; whatever stood there before still stands."""


class ClusterError(CuetrackError):
    """The machines that should share a batch are not there, or not fit for it."""

    exit_code = ExitCode.MACHINE_LACKS


class MachineError(CuetrackError):
    """The machine refused what no room expects it to: a file that was there, a program, memory."""

    def __init__(self, error: OSError | MemoryError) -> None:
        if isinstance(error, MemoryError):
            super().__init__("there is too little memory; end other programs, and call again")
            return
        about = f"{error.filename}: " if error.filename else ""
        reason = error.strerror or str(error) or "the system refused it"
        super().__init__(f"{about}{reason}; check the disk, the room on it and the permissions; call again")


class UsageError(CuetrackError):
    """The call itself is wrong: an option, a file ending, two names that clash."""

    exit_code = ExitCode.WRONG_USAGE


def nearest(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word that `word` was probably meant to be, or None."""
    by_folded = {candidate.casefold(): candidate for candidate in allowed}
    close = get_close_matches(word.casefold(), list(by_folded), n=1, cutoff=0.6)
    return by_folded[close[0]] if close else None


def did_you_mean(word: str, allowed: Iterable[str]) -> str:
    """A hint: the nearest allowed word if one is near, else all of them."""
    words = list(allowed)
    near = nearest(word, words)
    return f"did you mean {near!r}?" if near else f"allowed: {', '.join(words)}"
