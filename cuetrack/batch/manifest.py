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

from cuetrack.errors import WriteError
from cuetrack.writers.atomic import atomic_files

MANIFEST_FILE = "cuetrack-batch.jsonl"


@dataclass(frozen=True, slots=True)
class Made:
    """One track that was made, and what decided it.

    Attributes:
        track: its name below the folder, with `/` between.
        options: what was asked of it.
        inputs: SHA-256 of each file it was made from, by the path from the folder; None for no such file.
        voice: who spoke: what was asked for, the language, and a digest of all that decides the sound.
        versions: of this program and of the libraries that make samples.
        files: size in bytes and time of change in ns of each file that was made, by names like `track`.
    """

    track: str
    options: Mapping[str, Any]
    inputs: Mapping[str, str | None]
    voice: Mapping[str, str | None]
    versions: str
    files: Mapping[str, tuple[int, int]]


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
        goes_on = asked == self.unended
        before = [name for name in self.made if not (goes_on and name in self.since)]
        lines = [_line(self.made[name]) for name in before]
        lines.append(_text({"run": asked}))
        lines += [_line(self.made[name]) for name in self.made if name not in set(before)]
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
    """What stands in the manifest of a folder; nothing if there is none. Lines that are torn do not count.

    Raises:
        WriteError: it is there and cannot be read.
    """
    path = folder / MANIFEST_FILE
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines() if path.exists() else []
    except OSError as error:
        reason = error.strerror or str(error)
        raise WriteError(
            f"{path} cannot be read: {reason}; remove it, and all tracks are made anew"
        ) from None
    found = Manifest(folder)
    since: set[str] = set()
    for line in lines:
        try:
            values = json.loads(line)
            if "run" in values:
                found.unended = str(values["run"])
                since = set()
            elif "ended" in values:
                found.unended = None
            else:
                one = Made(**values)
                found.made[one.track] = one
                since.add(one.track)
        except (ValueError, TypeError):
            continue
    found.since = frozenset(since)
    return found
