"""One batch at a time writes into a folder."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from cuetrack.errors import WriteError

LOCK_FILE = ".cuetrack-batch.lock"


@contextmanager
def folder_locked(folder: Path) -> Iterator[None]:
    """Keeps other batches out of a folder; the system lets go of it when the process ends, however it ends.

    Raises:
        WriteError: another batch is there, or the folder cannot be written into.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(folder / LOCK_FILE, timeout=0)
    try:
        lock.acquire()
    except Timeout:
        reason = "another batch writes into it; wait for that one to end, or name another folder with -o"
        raise WriteError(f"nothing was written into {folder}: {reason}") from None
    except (OSError, NotImplementedError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WriteError(
            f"nothing can be written into {folder}: {reason}; name another folder with -o"
        ) from None
    try:
        yield
    finally:
        lock.release()
