"""DejaVu Sans, the letters of sheets and pictures: where it is, and what it lacks.

The extra `paper` brings it along inside matplotlib.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

from cuetrack.errors import MediaMissingError, how_to_add

_MISSING = "▯"


def refuse_without_paper() -> None:
    """Tells before any work is done that sheets and pictures cannot be made here.

    Raises:
        MediaMissingError: the extra `paper` is not installed.
    """
    if any(find_spec(name) is None for name in ("fpdf", "uharfbuzz", "matplotlib")):
        needs = "a PDF or a picture needs the extra `paper`, which is not here"
        raise MediaMissingError(f"{needs}; {how_to_add('paper')}")


@cache
def typefaces() -> Path:
    """The folder with DejaVuSans.ttf and DejaVuSans-Bold.ttf; nothing is loaded to find it.

    Raises:
        MediaMissingError: the extra `paper` is not installed.
    """
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        refuse_without_paper()
        raise MediaMissingError("the extra `paper` is damaged; install it again")
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"


def shown(text: str) -> str:
    """The text with an empty box for each letter that the typeface lacks."""
    return "".join(_MISSING if lacks(letter) else letter for letter in text)


def lacks(letter: str) -> bool:
    """Whether the typeface has no sign for a letter."""
    return letter != "\n" and ord(letter) not in _letters()


@cache
def _letters() -> frozenset[int]:
    from fontTools.ttLib import TTFont

    with TTFont(typefaces() / "DejaVuSans.ttf", lazy=True) as font:
        return frozenset(font.getBestCmap())
