"""A phrase ↔ the name of the file that a coach records for it.

A name is the phrase in small letters without accents and punctuation, words joined by hyphens:
"Change sides. Right side." is change-sides-right-side. What stands in a folder is folded in the same
way before it is compared, so that `Change sides, right side!.mp3` is found as well.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping
from hashlib import sha256

ENDING = ".wav"

# With the mark and an ending far below the 255 bytes that a name may have, in any alphabet.
_MOST_CHARACTERS = 60
_MARK_DIGITS = 6
# Names that Windows keeps for devices, whatever the ending.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)")


def folded(text: str) -> str:
    """`text` reduced to what a file name and a phrase have in common; "" if nothing is left.

    >>> folded("Plié, left side!"), folded("  ../../Row.  "), folded("3 x 10")
    ('plie-left-side', 'row', '3-x-10')
    """
    # Twice, because taking a letter apart can uncover a capital, as in ℌ; folding again changes nothing.
    apart = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    bare = "".join(character for character in apart if not unicodedata.combining(character))
    return "-".join("".join(character if character.isalnum() else " " for character in bare).split())


def slug(text: str) -> str:
    """`folded`, of a length that every file system takes: what is cut off leaves a mark."""
    whole = folded(text)
    # A cut between two words leaves a hyphen of its own.
    cut = whole[:_MOST_CHARACTERS].rstrip("-")
    return whole if len(whole) <= _MOST_CHARACTERS else f"{cut}-{_mark(whole)}"


def marked_slug(text: str) -> str:
    """The slug that no other text has: with a mark made of the exact text."""
    return f"{slug(text)}-{_mark(text)}"


def names_of(text: str) -> tuple[str, ...]:
    """The folded names under which a clip for `text` is looked for, the most particular one first."""
    return tuple(dict.fromkeys((marked_slug(text), slug(text), folded(text)))) if folded(text) else ()


def name_of_copy(stem: str) -> str:
    """The file name for a copy of a clip that is called `stem`; found for the same phrases."""
    name = folded(stem)
    return named(name if len(name) <= _MOST_CHARACTERS + 2 * (_MARK_DIGITS + 1) else slug(name))


def file_name_for(text: str) -> str:
    """The name of the clip for `text`, to be recorded as 24-bit WAV.

    >>> file_name_for("Shoulders down, keep breathing.")
    'shoulders-down-keep-breathing.wav'
    """
    return named(slug(text))


def file_names_for(texts: Iterable[str]) -> Mapping[str, str]:
    """The name of each clip of a session; texts whose names would be the same get a mark.

    The mark depends on the text alone, never on its company. A clip whose name has no mark is for
    every text of that slug which has no clip of its own.

    >>> names = file_names_for(["Row!", "Row.", "Press."])
    >>> names["Press."], names["Row!"] == names["Row."]
    ('press.wav', False)
    """
    by_slug: dict[str, list[str]] = defaultdict(list)
    for text in dict.fromkeys(texts):
        by_slug[slug(text)].append(text)
    return {
        text: named(marked_slug(text) if len(alike) > 1 else slug(text))
        for alike in by_slug.values()
        for text in alike
    }


def named(stem: str) -> str:
    """The file name for a slug."""
    # The hyphen is folded away again when names are compared.
    return f"{stem}{'-' if _DEVICES.fullmatch(stem) else ''}{ENDING}"


def _mark(text: str) -> str:
    return sha256(text.encode("utf-8", errors="backslashreplace")).hexdigest()[:_MARK_DIGITS]
