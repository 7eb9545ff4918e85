"""The name of a file in a document → its path, which has to lie in the document's folder.

A document is data, and may come from a stranger: without a word from the user it reads nothing else.
"""

from __future__ import annotations

from pathlib import Path, PurePath

from cuetrack.document.located import shown
from cuetrack.errors import NamedFileError, nearest

_MOST_NAMED = 200


def file_beside(written: str, folder: Path, *, allow_outside: bool = False) -> Path:
    """The file that is `written` in a document in `folder`; links are followed before it is judged.

    Raises:
        NamedFileError: it lies outside `folder`, is not there, or is no ordinary file.
    """
    path = folder / written
    try:
        found = path.resolve()
        inside, is_file, exists = found.is_relative_to(folder.resolve()), found.is_file(), found.exists()
    except (OSError, ValueError, RuntimeError) as error:  # a name too long, a loop of links
        reason = f": {error.strerror}" if isinstance(error, OSError) else ""
        raise NamedFileError(f"{shown(written)} cannot be a file here{reason}", "check the name") from None
    if not inside and not allow_outside:
        hint = "put a copy beside the plan, or say --allow-outside"
        raise NamedFileError(f"{written!r} lies outside the plan's folder", hint)
    if not exists:
        raise NamedFileError(f"there is no file {written!r}", _hint(written, path.parent))
    if not is_file:
        what = "a folder" if found.is_dir() else "no ordinary file"
        raise NamedFileError(f"{written!r} is {what}", "name a file")
    return path


def _hint(written: str, folder: Path) -> str:
    """What may have been meant: a file of nearly that name in `folder`."""
    try:
        names = [file.name for file in sorted(folder.iterdir())[:_MOST_NAMED] if file.is_file()]
    except OSError:
        names = []
    near = nearest(PurePath(written).name, names)
    if near is None:
        return "put it beside the plan, or check the name"
    return f"did you mean {PurePath(written).with_name(near).as_posix()!r}?"
