"""The name of a file in a document → its path, which has to lie in the document's folder.

A document is data, and may come from a stranger: without a word from the user it reads nothing else.
"""

from __future__ import annotations

from pathlib import Path

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
    except (OSError, ValueError, RuntimeError):  # a name too long, a loop of links
        raise NamedFileError(f"{written!r} cannot be a file here", "check the name") from None
    if not inside and not allow_outside:
        hint = "put a copy beside the plan, or say --allow-outside"
        raise NamedFileError(f"{written!r} lies outside the plan's folder", hint)
    if not exists:
        raise NamedFileError(f"there is no file {written!r}", _hint(path))
    if not is_file:
        what = "a folder" if found.is_dir() else "no ordinary file"
        raise NamedFileError(f"{written!r} is {what}", "name a file")
    return path


def _hint(path: Path) -> str:
    try:
        names = [file.name for file in sorted(path.parent.iterdir())[:_MOST_NAMED] if file.is_file()]
    except OSError:
        names = []
    near = nearest(path.name, names)
    return f"did you mean {near!r}?" if near else "put it beside the plan, or check the name"
