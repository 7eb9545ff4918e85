"""A phrase's key and slots → the text that is spoken.

The keys come from the timeline, which knows no language; the words come from the language's module.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from fractions import Fraction

from cuetrack.errors import SpeechError, did_you_mean
from cuetrack.speech.phrases.english import ENGLISH
from cuetrack.speech.phrases.french import FRENCH
from cuetrack.speech.phrases.german import GERMAN
from cuetrack.speech.phrases.language import Language, Style, Wording, Wordings, primary_subtag
from cuetrack.speech.phrases.numbers import number_words, time_words
from cuetrack.speech.phrases.spanish import SPANISH

LANGUAGES: Mapping[str, Language] = {
    language.tag: language for language in (ENGLISH, SPANISH, GERMAN, FRENCH)
}

_QUOTED_CHARACTERS = 60

_SLOT = re.compile(r"\{(\w+)(?::(\w+))?\}")
_OPTIONAL = re.compile(r"\[(.*?)\]")
# Where a sentence is over, also when a quotation mark or a bracket follows.
_ENDED = re.compile(r"[.!?…。！？][\"'”’»)\]]*$")
# Controls, surrogates (they cannot be stored as UTF-8), line and paragraph separators.
_UNSPOKEN_CATEGORIES = frozenset({"Cc", "Cs", "Zl", "Zp"})


def phrase_text(
    key: str,
    slots: Mapping[str, str],
    language: str = "en",
    *,
    style: Style = "full",
    turn: int = 0,
    own: Mapping[str, Wordings] | None = None,
) -> str:
    """The text of a phrase; empty if every sentence of it has an empty slot.

    Args:
        key: one of `SLOTS_BY_KEY`; "announce" with a slot `first` is "announce-first".
        slots: what to fill in; one that is missing is empty, one that the wording lacks is left out.
        language: a tag such as en or en-GB.
        style: "terse" keeps the move and its side of an announcement, or all of it if it names no move.
        turn: how often the key was said before in the session; the wordings take turns by it.
        own: a coach's wordings by key, said instead where they come to any words.

    Raises:
        SpeechError: no such language or key, or a slot that is no number or time.

    >>> phrase_text("announce", {"move": "Half-kneeling press", "side": "left", "stage": "paused"})
    'Next: Half-kneeling press, left side. Paused.'
    >>> phrase_text("announce", {"move": "Band row", "side": "left"}, turn=1)
    'Coming up: Band row, left side.'
    >>> phrase_text("change-sides", {"side": "right"}, "de-AT", style="terse")
    'Wechsel, rechts.'
    """
    words = _language(language)
    key = key_said(key, slots)
    if key not in words.wordings:
        raise SpeechError(f"there is no phrase {key!r}; {did_you_mean(key, words.wordings)}")
    chosen = [known[key] for known in (own or {}, words.wordings) if key in known]
    for wordings in (*([w.terse for w in chosen] if style == "terse" else []), *(w.full for w in chosen)):
        if wordings and (said := _said(wordings[turn % len(wordings)], slots, words)):
            return said
    return ""


def key_said(key: str, slots: Mapping[str, str]) -> str:
    """The key whose wordings are said: the first announcement has its own."""
    return "announce-first" if key == "announce" and slots.get("first") else key


def text_key(text: str) -> str:
    """`text` as it is spoken: composed (NFC), without controls, single spaces; equal keys sound equal.

    >>> text_key("  Shoulders\\tdown,\\n keep\\x00 breathing. ")
    'Shoulders down, keep breathing.'
    """
    composed = unicodedata.normalize("NFC", text)
    kept = (" " if unicodedata.category(c) in _UNSPOKEN_CATEGORIES else c for c in composed)
    return " ".join("".join(kept).split())


def quoted(text: str) -> str:
    """`text` for a message, in quotation marks, shortened if it is long."""
    return repr(text if len(text) <= _QUOTED_CHARACTERS else f"{text[:_QUOTED_CHARACTERS]}…")


def _language(tag: str) -> Language:
    primary = primary_subtag(tag)
    if primary not in LANGUAGES:
        raise SpeechError(f"there are no phrases in the language {tag!r}; {did_you_mean(tag, LANGUAGES)}")
    return LANGUAGES[primary]


def _said(wording: Wording, slots: Mapping[str, str], language: Language) -> str:
    if isinstance(wording, str):
        return text_key(_filled(wording, slots, language) or "")
    filled = (_filled(sentence, slots, language) for sentence in wording)
    return " ".join(_as_sentence(text) for text in filled if text)


def _filled(template: str, slots: Mapping[str, str], language: Language) -> str | None:
    """The template with its slots filled, or None if a slot outside `[…]` is empty."""
    # A sentence may hold "left side" and "left": a value belongs to the slot and its kind.
    values = {
        (name, kind): _slot_text(name, kind, slots.get(name, ""), language)
        for name, kind in _SLOT.findall(template)
    }

    def complete(piece: str) -> bool:
        return all(values[slot] for slot in _SLOT.findall(piece))

    chosen = _OPTIONAL.sub(lambda piece: piece[1] if complete(piece[1]) else "", template)
    return _SLOT.sub(lambda slot: values[slot[1], slot[2] or ""], chosen) if complete(chosen) else None


def _slot_text(name: str, kind: str, value: str, language: Language) -> str:
    try:
        if kind == "number":
            return number_words(int(value), language.tag)
        if kind == "time":
            return time_words(Fraction(value), language)
    except (ValueError, ZeroDivisionError):
        raise SpeechError(f"{name} is {value!r}, which is no {kind}") from None
    if kind in {"side", "direction"} and value in language.sides:
        side = language.sides[value]
        return side.side if kind == "side" else side.direction
    # What follows the slot brings its own comma or full stop.
    return text_key(value) if kind == "verbatim" else text_key(value).rstrip(" .,;:")


def _as_sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if _ENDED.search(text) else ".")
