"""What a batch has made: one line of JSON a track, written the moment it is there.

A line is added at the end and flushed to the disk, so a run that is killed loses at most the line it was
writing; a torn last line is passed over. Each run begins by writing the file anew without what is overtaken.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Any

from pydantic import TypeAdapter

from cuetrack.errors import WriteError
from cuetrack.writers.atomic import atomic_files

MANIFEST_FILE = "cuetrack-batch.jsonl"
# A hundred thousand tracks take less.
_MOST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class SpokenBy:
    """Who spoke: what was asked for, in which language, and a digest of all that decides the sound."""

    asked: str | None
    language: str
    state: str


@dataclass(frozen=True, slots=True)
class Made:
    """One track that was made, and what decided it.

    Attributes:
        track: its name below the folder, with `/` between.
        options: what was asked of it.
        inputs: SHA-256 of each file it was made from, by the path from the folder; None for no such file.
        voice: who spoke.
        versions: of this program and of the libraries that make samples.
        files: size in bytes and time of change in ns of each file that was made, by names like `track`.
    """

    track: str
    options: Mapping[str, Any]
    inputs: Mapping[str, str | None]
    voice: SpokenBy
    versions: str
    files: Mapping[str, tuple[int, int]]


_MADE = TypeAdapter(Made)


@dataclass
class Manifest:
    """The tracks that stand in the manifest of `folder`, by name.

    `unended` is what the last run was asked for if it did not come to its end, and `since` are the
    tracks that it made.
    """

    folder: Path
    made: dict[str, Made] = field(default_factory=dict)
    unended: str | None = None
    since: frozenset[str] = frozenset()

    @contextmanager
    def running(self, asked: str) -> Iterator[Callable[[Made], None]]:
        """A run that was asked for what `asked` is a digest of; gives what keeps a line for each track.

        Only a block that is left without an exception has come to its end.

        Raises:
            WriteError: the manifest cannot be written.
        """
        since = self.since if asked == self.unended else frozenset()
        lines = [_line(one) for name, one in self.made.items() if name not in since]
        lines.append(_text({"run": asked}))
        lines += [_line(one) for name, one in self.made.items() if name in since]
        path = self.folder / MANIFEST_FILE
        with atomic_files(path) as (temporary,):
            temporary.write_text("".join(lines), encoding="utf-8")
        try:
            with path.open("a", encoding="utf-8") as file:
                yield lambda one: _add(file, _line(one))
                _add(file, _text({"ended": asked}))
        except OSError as error:
            reason = error.strerror or str(error)
            raise WriteError(
                f"{path} could not be written: {reason}; tracks are whole, call again"
            ) from error


def _line(one: Made) -> str:
    return _text(asdict(one))


def _text(values: Mapping[str, Any]) -> str:
    return json.dumps(values, ensure_ascii=False) + "\n"


def _add(file: IO[str], line: str) -> None:
    file.write(line)
    file.flush()
    os.fsync(file.fileno())


def read_manifest(folder: Path) -> Manifest:
    """What stands in the manifest of a folder; nothing if there is none.

    Lines that are torn or that no run of ours wrote do not count: it may come from a stranger.

    Raises:
        WriteError: it is there and cannot be read.
    """
    found = Manifest(folder)
    since: set[str] = set()
    for line in _written_lines(folder / MANIFEST_FILE):
        try:
            values = json.loads(line)
            if "run" in values:
                found.unended = str(values["run"])
                since = set()
            elif "ended" in values:
                found.unended = None
            else:
                one = _MADE.validate_python(values)
                found.made[one.track] = one
                since.add(one.track)
        except (ValueError, TypeError, RecursionError):
            continue
    found.since = frozenset(since)
    return found


def _written_lines(path: Path) -> list[str]:
    hint = "remove it, and all tracks are made anew"
    try:
        if not path.exists():
            return []
        if not path.is_file():  # a pipe or a device may never end
            raise WriteError(f"{path} is no ordinary file; {hint}")
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or str(error)
        raise WriteError(f"{path} cannot be read: {reason}; {hint}") from None
    if len(data) > _MOST_BYTES:
        raise WriteError(f"{path} is larger than {_MOST_BYTES // 1_000_000} MB; {hint}")
    return data.decode("utf-8", errors="replace").splitlines()
