"""What was made of what → whether it is still what would be made now, and if not, why."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from stat import S_ISREG
from typing import Any

from cuetrack.batch.manifest import Made, SpokenBy


def file_digest(path: Path) -> str | None:
    """The SHA-256 of a file; None if it cannot be read. One that stays as it is is read once a process."""
    try:
        known = path.stat()
        # A device or a pipe may never end.
        return _digest(path, known.st_size, known.st_mtime_ns) if S_ISREG(known.st_mode) else None
    except (OSError, ValueError):
        return None


@lru_cache(maxsize=10_000)
def _digest(path: Path, size_bytes: int, changed_ns: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sizes_and_times(folder: Path, names: Iterable[str]) -> dict[str, tuple[int, int]]:
    """Of files below a folder the size in bytes and the time of change in ns, for those that are there."""
    found = {}
    for name in names:
        try:
            known = (folder / name).stat()
        except (OSError, ValueError):  # not there, or a name that cannot be
            continue
        found[name] = (known.st_size, known.st_mtime_ns)
    return found


def why_stale(
    one: Made | None,
    folder: Path,
    *,
    options: Mapping[str, Any],
    versions: str,
    voice_now: Callable[[SpokenBy], str | None],
    may_read: Callable[[Path], bool],
) -> str | None:
    """Why a track has to be made, in words; None if it stands as it would be made now.

    Args:
        one: how it was made; None if it was not.
        folder: where the tracks are.
        options: what is asked of it now.
        versions: of the program and its libraries.
        voice_now: a voice, as the manifest says it → the digest of what decides its sound now.
        may_read: whether a file may be looked into; a manifest may come from a stranger, too.
    """
    if one is None:
        return "it is new"
    there = sizes_and_times(folder, one.files)
    for name, known in one.files.items():
        if name not in there:
            return f"{name} is gone"
        if there[name] != known:
            return f"{name} was changed since"
    if one.options != options:
        return "it is asked for otherwise"
    for name, digest in one.inputs.items():
        file = folder / name
        if not may_read(file):
            return f"{name} lies outside"
        now = file_digest(file)
        if now != digest:
            what = "is new" if digest is None else "is gone" if now is None else "has changed"
            return f"{name} {what}"
    if one.voice.state != voice_now(one.voice):
        return "the voice has changed"
    if one.versions != versions:
        return "another version made it"
    return None
