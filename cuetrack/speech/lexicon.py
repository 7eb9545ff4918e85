"""Written text → what a speech engine is given, so that short forms and trade words come out right.

Whole numbers below a thousand, with or without a unit, become words, so that every engine says the same
and an aligner knows what was said. Left to the engine are longer numbers, dates, times of day, money and
codes of letters and digits. What is shown to people stays as it was written.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from cuetrack.speech.lexicons import english, french, german, spanish
from cuetrack.speech.lexicons.table import Lexicon
from cuetrack.speech.phrases.language import primary_subtag
from cuetrack.speech.phrases.wording import text_key
from cuetrack.speech.short_forms import ShortForms, alternatives, compiled, entry

LEXICONS: Mapping[str, Lexicon] = {
    table.language.tag: table for table in (english.LEXICON, spanish.LEXICON, german.LEXICON, french.LEXICON)
}

_MOST_PASSES = 8
_NO_ENTRIES: Mapping[str, str] = MappingProxyType({})

# Symbols that mean something when spoken; all others of their kind decorate.
_SPOKEN_SYMBOLS = frozenset("°№")
# Variation selectors, the keycap, skin tones, and the letters of flags.
_EMOJI_PARTS = re.compile("[\ufe00-\ufe0f\u20e3\U0001f3fb-\U0001f3ff\U000e0020-\U000e007f]")
# The joiner of emoji stays where it joins letters, as in Malayalam.
_LOOSE_JOINERS = re.compile("(?:^|(?<=\\s))\u200d+|\u200d+(?=\\s|$)")
# Marks of emphasis and of lists, where they are not part of a word or a product.
_EMPHASIS = re.compile(r"(?<![0-9\s])\*|\*(?!\s*[0-9])|(?<!\w)_+|_+(?!\w)|#(?![0-9])")


def spoken_form(text: str, language: str = "en", lexicon: Mapping[str, str] = _NO_ENTRIES) -> str:
    """What the engine is given for `text`; never raises, empty if there is nothing to say.

    A language that has no table still gets rid of decoration and knows the coach's entries.

    Args:
        text: as written, any Unicode.
        language: a tag such as en or en-GB.
        lexicon: the coach's own entries, written → spoken, which win and are spoken as they stand. One in
            lower case stands for any case, one with capitals only for itself. To switch off an entry of
            the table, let a word stand for itself.

    >>> spoken_form("RDL: 3 x 10 w/ 12.5 kg, 1:30 rest")
    'Romanian deadlift: three sets of ten with twelve and a half kilos, one minute thirty rest'
    >>> spoken_form("2 x 30 s Plank, li/re", "de")
    'zwei Sätze zu dreißig Sekunden Plänk, links und rechts'
    >>> spoken_form("Quay row 🚣", "en", {"quay": "key"})
    'key row'
    """
    plain = text_key(_EMPHASIS.sub("", text_key(text)))
    own = {text_key(written): spoken for written, spoken in lexicon.items() if text_key(written)}
    short_forms = _short_forms(primary_subtag(language))
    if not own:
        return text_key(_spoken(plain, short_forms))
    pieces, end = [], 0
    for match in re.finditer(alternatives(own), plain):
        word = entry(own, match[0])
        pieces += [_spoken(plain[end : match.start()], short_forms), match[0] if word is None else word]
        end = match.end()
    return text_key("".join(pieces) + _spoken(plain[end:], short_forms))


def _spoken(text: str, short_forms: ShortForms | None) -> str:
    """A stretch between the coach's own entries; what one replacement uncovers ("¼0") is spoken as well."""
    for _ in range(_MOST_PASSES):
        before, text = text, _undecorated(text)
        if short_forms is not None:
            text = short_forms.spoken(text)
        text = re.sub(" {2,}", " ", text)
        if text == before:
            break
    return text


@cache
def _short_forms(tag: str) -> ShortForms | None:
    return compiled(LEXICONS[tag]) if tag in LEXICONS else None


def _undecorated(text: str) -> str:
    kept = "".join(
        " " if unicodedata.category(c) == "So" and c not in _SPOKEN_SYMBOLS else c
        for c in _EMOJI_PARTS.sub("", text)
    )
    return _EMPHASIS.sub("", _LOOSE_JOINERS.sub(" ", kept))
