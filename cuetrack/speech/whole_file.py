"""Bytes → a file that appears whole or not at all, also while others write or read the same one.

For what can be made again: it does not wait until the disk has it, as the files that a user asked for do.
"""

from __future__ import annotations

import secrets
from contextlib import suppress
from pathlib import Path

HALF_WRITTEN = ".half-written-"


def write_whole(path: Path, data: bytes) -> None:
    """Put `data` at `path`, in place of what stands there; its folder has to exist.

    Raises:
        OSError: it cannot be written; what stood there still stands.
    """
    half = path.with_name(f"{HALF_WRITTEN}{secrets.token_hex(8)}")
    try:
        # Not by `tempfile`, whose files nobody else may read: clips are shared.
        with half.open("xb") as file:
            file.write(data)
        half.replace(path)
    except BaseException:
        with suppress(OSError):
            half.unlink()
        raise
