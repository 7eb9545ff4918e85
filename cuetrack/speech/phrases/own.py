"""A coach's own wordings → wordings as the language tables have them, or what is wrong with them.

A text is cut into its sentences, each left out when a slot in it is empty; `[…]` is a piece left out in the
same way. A slot says what it holds by its name: `{seconds}` is a time, `{side}` "left side"; only
`{side:direction}`, "left", is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cuetrack.errors import Diagnostic, Place, PlanError, SpeechError, did_you_mean
from cuetrack.speech.phrases.language import SLOTS_BY_KEY, Wordings

# Numbers are counted, and the coach's own lines are own words already.
UNCHANGED_KEYS = frozenset({"as-written", "number"})
# Said on the beat of a count or a repetition, where another word would throw people out.
ONE_WORDING_KEYS = frozenset({"go", "tempo-down", "tempo-hold", "tempo-up", "tempo-fast"})
_KINDS = {"seconds": "time", "side": "side", "day": "number", "days": "number"}
_CHOICES = {"side": ("side", "direction")}
_SENTENCE_GAP = re.compile(r"(?<=[.!?…])\s+")
_SLOT = re.compile(r"\{\s*([^{}:]*?)\s*(?::\s*([^{}]*?)\s*)?\}")
_PIECE = re.compile(r"\[[^\[\]]*\]")


@dataclass(frozen=True, slots=True)
class OwnPhrase:
    """What is written for one key: full texts, terse ones or none, and where."""

    key: str
    full: Sequence[str]
    terse: Sequence[str]
    place: Place | None


def own_phrases(written: Iterable[OwnPhrase]) -> dict[str, Wordings]:
    """The wordings by key; one without own terse words has none, and the built-in ones serve.

    Raises:
        PlanError: unknown keys and slots, brackets that do not close: all of them, each at its place.
    """
    found: dict[str, Wordings] = {}
    faults: list[Diagnostic] = []
    for phrase in written:
        try:
            found[phrase.key] = _wordings(phrase)
        except SpeechError as error:
            faults.append(Diagnostic("error", str(error), phrase.place))
    if faults:
        raise PlanError(faults)
    return found


def _wordings(phrase: OwnPhrase) -> Wordings:
    key = phrase.key
    if key not in SLOTS_BY_KEY or key in UNCHANGED_KEYS:
        allowed = [known for known in SLOTS_BY_KEY if known not in UNCHANGED_KEYS]
        raise SpeechError(f"there is no phrase {key!r} to be worded anew; {did_you_mean(key, allowed)}")
    if key in ONE_WORDING_KEYS and len(phrase.full) > 1:
        raise SpeechError(f"what is said for {key!r} is always the same; keep one wording")
    return Wordings(
        full=tuple(_wording(key, text) for text in phrase.full),
        terse=tuple(_wording(key, text) for text in phrase.terse),
    )


def _wording(key: str, text: str) -> tuple[str, ...]:
    return tuple(_sentence(key, sentence) for sentence in _SENTENCE_GAP.split(text))


def _sentence(key: str, sentence: str) -> str:
    """One sentence with the kind of each slot written out."""
    bare = _SLOT.sub("", sentence)
    if re.search(r"[{}]", bare):
        raise SpeechError(f"a brace without its other half in {sentence!r}; a slot is written like {{move}}")
    if re.search(r"[\[\]]", _PIECE.sub("", bare)):
        raise SpeechError(f"[ and ] are no pair in {sentence!r}; a piece stands inside one sentence")
    return _SLOT.sub(lambda slot: _slot(key, slot[1], slot[2]), sentence)


def _slot(key: str, name: str, kind: str | None) -> str:
    slots = SLOTS_BY_KEY[key]
    if name not in slots:
        hint = did_you_mean(name[:40], slots) if slots else "it takes none"
        raise SpeechError(f"the phrase {key!r} has no slot {{{name}}}; {hint}")
    choices = _CHOICES.get(name, ())
    if kind is not None and kind not in choices:
        hint = did_you_mean(kind[:40], choices) if choices else f"write {{{name}}}"
        raise SpeechError(f"{{{name}:{kind}}} cannot be said; {hint}")
    kind = kind or _KINDS.get(name)
    return f"{{{name}:{kind}}}" if kind else f"{{{name}}}"
