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
    found = followed(written, path, None if allow_outside else folder)
    if not found.exists():
        raise NamedFileError(f"there is no file {written!r}", _hint(written, path.parent))
    if not found.is_file():
        what = "a folder" if found.is_dir() else "no ordinary file"
        raise NamedFileError(f"{written!r} is {what}", "name a file")
    return path


def followed(written: str, path: Path, within: Path | None) -> Path:
    """Where `path`, which a document names as `written`, leads when links are followed.

    Raises:
        NamedFileError: no file can have that name, or it leads out of the folder `within`, if there is one.
    """
    try:
        found = path.resolve()
        inside = within is None or found.is_relative_to(within.resolve())
        found.exists()
    except (OSError, ValueError, RuntimeError) as error:  # a name too long, a loop of links
        reason = f": {error.strerror}" if isinstance(error, OSError) else ""
        raise NamedFileError(f"{shown(written)} cannot be a file here{reason}", "check the name") from None
    if not inside:
        hint = "put a copy beside the plan, or say --allow-outside"
        raise NamedFileError(f"{written!r} lies outside the plan's folder", hint)
    return found


def _hint(written: str, folder: Path) -> str:
    """What may have been meant: a file of nearly that name in `folder`."""
    try:
        names = [file.name for file in sorted(folder.iterdir())[:_MOST_NAMED] if file.is_file()]
    except OSError:
        names = []
    # An ending alone makes no two short names alike.
    stem = PurePath(written).stem
    alike = [name for name in names if nearest(stem, [PurePath(name).stem])]
    near = nearest(PurePath(written).name, alike)
    if near is None:
        return "put it beside the plan, or check the name"
    return f"did you mean {PurePath(written).with_name(near).as_posix()!r}?"
