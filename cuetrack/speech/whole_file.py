"""Bytes → a file that appears whole or not at all, also while others write or read the same one."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

HALF_WRITTEN = ".half-written-"


def write_whole(path: Path, data: bytes) -> None:
    """Put `data` at `path`, in place of what stands there; its folder has to exist.

    Raises:
        OSError: it cannot be written; what stood there still stands.
    """
    handle, name = tempfile.mkstemp(prefix=HALF_WRITTEN, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
