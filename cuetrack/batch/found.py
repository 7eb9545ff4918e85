"""A folder → the plans below it: which of its YAML files are plans, told by their first keys."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

_ENDINGS = (".yaml", ".yml")
# What a plan has and no other file of ours, and what those have, at the beginning of a line.
_PLAN = re.compile(rb"^(?:session|parts)\s*:", re.MULTILINE)
_OTHER = re.compile(rb"^(?:sessions|series|engine)\s*:", re.MULTILINE)
_FIRST_BYTES = 1 << 16


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
    """Whether it is a series or a voice; of what cannot be read, who renders it will say so."""
    if not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            first = file.read(_FIRST_BYTES)
    except OSError:
        return False
    return _OTHER.search(first) is not None and _PLAN.search(first) is None


def is_series(path: Path) -> bool:
    """Whether a file lists the sessions of a series."""
    return path.is_file() and re.search(rb"^sessions\s*:", path.read_bytes(), re.MULTILINE) is not None
