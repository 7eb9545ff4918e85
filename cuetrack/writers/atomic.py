"""Files that appear whole or not at all, all of them together.

What is written goes to hidden files beside the targets. Only when everything is done, and safe on the
disk, are they renamed; until then whatever stood there before still stands (POSIX `rename`: a name
shows the old file or the new one at any moment, and never neither).
"""

from __future__ import annotations

import errno
import os
import platform
import re
import secrets
import shutil
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from cuetrack.errors import WriteError

# With 50 characters of the target's name a hidden name stays under the 255 bytes a name may have.
_NAME_CHARACTERS = 50
# Which machine and process writes a hidden file: what is left of a killed one is known by that.
_HIDDEN = re.compile(r"\..+\.(?P<machine>[0-9a-f]{8})-(?P<process>\d+)-[0-9a-f]{8}\.part")
# Of another machine's it is not to be known whether they live; what nobody wrote to for so long is left over,
# whoever made it.
_LEFT_OVER_SECONDS = 24 * 3600

_NOT_ALLOWED = "this is not allowed here; change the permissions, close what has it open, or write elsewhere"

_REASONS = {
    errno.ENOSPC: "there is no room left on the disk; free some, or write to another one",
    errno.EFBIG: "the disk takes no file of that size (FAT32 ends at 4 GiB); write to another one",
    errno.EROFS: "the disk can only be read; write to another one",
    errno.EACCES: _NOT_ALLOWED,
    errno.EPERM: _NOT_ALLOWED,
    errno.ENOENT: "its folder does not exist; make the folder first",
    errno.ENOTDIR: "what should be its folder is a file",
    errno.EISDIR: "it is a folder; give the name of a file in it",
    errno.ENAMETOOLONG: "the name is too long",
}
if hasattr(errno, "EDQUOT"):  # not on Windows
    _REASONS[errno.EDQUOT] = "your share of the disk is used up; free some room, or write to another disk"


@contextmanager
def atomic_files(
    *targets: Path, needed_bytes: int = 0, strange: Path | None = None
) -> Iterator[tuple[Path, ...]]:
    """Paths to write to in place of `targets`; on leaving the block they become the targets.

    If the block is left by any exception, they are removed and the targets stand as before. A link is
    followed: the file it points to is replaced. A folder that is not there yet is made. What killed
    processes left in these folders is removed.

    Args:
        targets: the files to make; those that exist are replaced and keep their permissions.
        needed_bytes: what the first file will take at least; refused at once if there is less room.
        strange: a folder that may come from a stranger; see `refuse_links_out`.

    Raises:
        WriteError: a target cannot be written, or the block raised an OSError about one of the paths,
            or one that names no path.
    """
    if strange is not None:
        refuse_links_out(strange, targets)
    real = [Path(os.path.realpath(target)) for target in targets]
    hidden = tuple(_hidden_path(target) for target in real)
    for folder in {target.parent for target in real} - _swept:
        _swept.add(folder)
        remove_left_over(folder, below=False)
    with ExitStack() as folders:
        for folder in dict.fromkeys(target.parent for target in targets):
            if not os.path.lexists(folder):
                folders.enter_context(folder_made(folder))
        try:
            for temporary, target in zip(hidden, real, strict=True):
                _refuse_unwritable(target)
                _create(temporary, target)
            _refuse_too_little_room(targets[0], real[0].parent, needed_bytes)
            yield hidden
            for temporary in hidden:
                _sync(temporary)
            _rename_all(hidden, real)
        except OSError as error:
            about = _targets_of(error, targets, hidden, real)
            if not about:
                raise
            reason = _REASONS.get(error.errno or 0, error.strerror or str(error))
            raise WriteError(f"{about} could not be written: {reason}") from error
        finally:
            for temporary in hidden:
                # Gone, or its folder never was one: nothing to add to the first error.
                with suppress(OSError):
                    temporary.unlink()


# A folder of thousands of tracks is looked through once a process, not for each of them.
_swept: set[Path] = set()


def remove_left_over(folder: Path, *, below: bool = True) -> int:
    """Removes what killed processes were writing in a folder, and in those below it; says how many files."""
    removed = 0
    for place, folders, names in os.walk(folder):
        if not below:
            folders.clear()
        for name in names:
            found = _HIDDEN.fullmatch(name)
            path = Path(place) / name
            if found and _is_left_over(path, found["machine"], int(found["process"])):
                with suppress(OSError):  # somebody else was first, or may and we may not
                    path.unlink()
                    removed += 1
    return removed


def _is_left_over(path: Path, machine: str, process: int) -> bool:
    # On Windows asking whether a process lives would end it.
    if machine == _machine() and os.name != "nt" and not _lives(process):
        return True
    # One that lives may have been given the number of the dead one.
    try:
        return path.stat().st_mtime < time.time() - _LEFT_OVER_SECONDS
    except OSError:
        return False


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return not _is_zombie(process)


def _is_zombie(process: int) -> bool:
    """Whether it has ended and is not buried yet, as far as Linux tells (`man 5 proc_pid_stat`, state)."""
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return False
    return state.rpartition(")")[2].split()[0] in "ZX"


def _machine() -> str:
    """Eight hexadecimal digits that tell this machine from others that write to the same disk."""
    return sha256(platform.node().encode()).hexdigest()[:8]


def refuse_links_out(folder: Path, targets: Sequence[Path]) -> None:
    """Raises `WriteError` if a target in `folder` is, or lies behind, a link that leads out of it.

    Who fills a folder could place a link there on any file of the user's, to be replaced. A link in a place
    that the user chose elsewhere is the user's own.
    """
    written, home = Path(os.path.abspath(folder)), Path(os.path.realpath(folder))  # noqa: PTH100 -- keeps links
    for target in targets:
        real, beside = Path(os.path.realpath(target)), Path(os.path.realpath(target.parent))
        is_in_folder = Path(os.path.abspath(target)).is_relative_to(written) or beside.is_relative_to(home)  # noqa: PTH100
        if is_in_folder and not real.is_relative_to(home):
            raise WriteError(
                f"{target} is left as it is: a link leads from there to {real}, out of its folder; "
                "give another name with -o, or say --allow-outside"
            )


def _hidden_path(target: Path) -> Path:
    mark = f"{_machine()}-{os.getpid()}-{secrets.token_hex(4)}"
    return target.with_name(f".{target.name[:_NAME_CHARACTERS]}.{mark}.part")


def _refuse_unwritable(target: Path) -> None:
    if target.is_dir():
        raise OSError(errno.EISDIR, os.strerror(errno.EISDIR), str(target))
    if not target.exists():
        return
    if not target.is_file():
        raise WriteError(f"{target} is no ordinary file and is left as it is; give another name")
    # A rename would replace even a write-protected file; opening one asks whether we may.
    with target.open("r+b"):
        pass


def _create(temporary: Path, target: Path) -> None:
    os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    if target.exists():
        with suppress(PermissionError):  # from a disk that knows no permissions
            shutil.copymode(target, temporary)


def _refuse_too_little_room(target: Path, folder: Path, needed_bytes: int) -> None:
    free_bytes = shutil.disk_usage(folder).free
    if free_bytes < needed_bytes:
        sizes = f"it needs {_megabytes(needed_bytes)} and the disk has {_megabytes(free_bytes)} left"
        raise WriteError(f"{target} could not be written: {sizes}; free some, or write to another disk")


def _megabytes(size_bytes: int) -> str:
    return f"{size_bytes / 1_000_000:,.1f} MB"


def _sync(path: Path) -> None:
    """Waits until the file is on the disk: a rename must not come before its content."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def _rename_all(hidden: Sequence[Path], targets: Sequence[Path]) -> None:
    """Renames all; an interrupt waits until the last, so that files of one render never disagree.

    Should the system refuse one, which opening the target has made unlikely, those before it are new.
    """
    try:
        for temporary, target in zip(hidden, targets, strict=True):
            temporary.replace(target)
    except KeyboardInterrupt:
        for temporary, target in zip(hidden, targets, strict=True):
            if temporary.exists():
                temporary.replace(target)
        raise
    for folder in {target.parent for target in targets}:
        _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    """Waits until the new names are on the disk, where the system can be asked for it."""
    with suppress(OSError):  # not on Windows, and not on every disk
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _targets_of(error: OSError, targets: Sequence[Path], hidden: Sequence[Path], real: Sequence[Path]) -> str:
    """The targets an error is about, for a sentence; all if it names no path, "" if it is about others."""
    if error.filename is None:
        return " and ".join(str(target) for target in targets)
    for target, *others in zip(targets, hidden, real, strict=True):
        if os.fsdecode(error.filename) in {str(target), *map(str, others)}:
            return str(target)
    return ""


@contextmanager
def folder_made(folder: Path) -> Iterator[None]:
    """Makes a folder if there is none; if the block is left by an exception it goes again, if it is empty.

    Raises:
        WriteError: it cannot be made.
    """
    made = not folder.exists()
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        reason = _REASONS.get(error.errno or 0, error.strerror or str(error))
        if error.errno == errno.ENOENT:
            reason = f"{folder.parent} does not exist; make that first"
        raise WriteError(f"the folder {folder} could not be made: {reason}") from error
    try:
        yield
    except BaseException:
        if made:
            with suppress(OSError):  # somebody else has put something into it
                folder.rmdir()
        raise
