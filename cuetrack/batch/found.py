"""A folder → the plans below it: which of its YAML files are plans, told by their first keys."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

_ENDINGS = (".yaml", ".yml")
# A key at the beginning of a line, or behind the byte order mark that some editors put before the first.
_KEY = rb"^(?:\xef\xbb\xbf)?(?:%s)\s*:"
# What a plan has and no other file of ours, and what those have.
_PLAN = re.compile(_KEY % b"session|parts", re.MULTILINE)
_OTHER = re.compile(_KEY % b"sessions|series|engine", re.MULTILINE)
_SESSIONS = re.compile(_KEY % b"sessions", re.MULTILINE)
# More than a document of ours may have.
_FIRST_BYTES = 1 << 19


def plans_below(folder: Path, *, but_not_in: Path, but_not: str) -> Iterator[Path]:
    """The plans in a folder and in those below it, in the order of their names.

    Args:
        folder: where to look; hidden folders, and links to folders, are passed over.
        but_not_in: a folder that is passed over, too: where the tracks are.
        but_not: the name of files that are passed over: the house style.
    """
    for place, folders, files in os.walk(folder):
        here = Path(place)
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and not _is(here / name, but_not_in)
        )
        for name in sorted(files):
            is_yaml = name.lower().endswith(_ENDINGS) and not name.startswith(".") and name != but_not
            if is_yaml and not _is_other(here / name):
                yield here / name


def _is(one: Path, other: Path) -> bool:
    return other.exists() and one.samefile(other)


def _is_other(path: Path) -> bool:
    """Whether it is a series or a voice. Of what cannot be read, and of links, who renders it will say so."""
    first = b"" if path.is_symlink() else _first_bytes(path)
    return _OTHER.search(first) is not None and _PLAN.search(first) is None


def is_series(path: Path) -> bool:
    """Whether a file lists the sessions of a series."""
    return _SESSIONS.search(_first_bytes(path)) is not None


def _first_bytes(path: Path) -> bytes:
    """Nothing of what is no ordinary file or cannot be read."""
    try:
        if path.is_file():
            with path.open("rb") as file:
                return file.read(_FIRST_BYTES)
    except OSError:
        pass
    return b""
