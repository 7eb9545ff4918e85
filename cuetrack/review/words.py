"""The trade's plain words: body regions, movement patterns, positions, effort and aims, as data.

A move says what it is with its tags; where it has none, its own name is read, in English. Words outside
these lists are kept as words of the plan's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache

# Each word, and what else it is called. A name in the plural is found too.
REGIONS: Mapping[str, tuple[str, ...]] = {
    "legs": ("leg", "thigh", "knee", "calf", "ankle", "foot", "feet", "heel", "toe", "hamstring"),
    "hips": ("hip", "glute", "pelvis"),
    "core": ("abs", "abdominal", "waist", "trunk"),
    "back": ("spine", "shoulder blade"),
    "chest": ("pec",),
    "shoulders": ("shoulder",),
    "arms": ("arm", "elbow", "biceps", "triceps", "forearm", "wrist"),
    "neck": (),
}
PATTERNS: Mapping[str, tuple[str, ...]] = {
    "squat": (),
    "hinge": (),
    "lunge": (),
    "push": (),
    "pull": (),
    "carry": (),
    "rotate": ("rotation", "twist"),
    "bend": (),
    "hold": ("brace", "isometric", "static hold"),
    "step": ("walk", "run"),
    "jump": ("hop",),
    "stretch": ("static stretch", "stretching"),
    "breathe": ("breath", "breathing"),
}
POSITIONS: Mapping[str, tuple[str, ...]] = {
    "standing": ("stand", "upright"),
    "seated": ("sit", "sitting"),
    "kneeling": ("kneel", "half kneeling", "all fours", "hands and knees"),
    "lying": ("lie", "floor", "prone", "supine", "face down", "face up", "on your back"),
}
# How hard the work is meant, and what it is for; only `full effort` is read from names.
EFFORTS: Mapping[str, tuple[str, ...]] = {
    "full effort": ("all out", "flat out", "maximal", "sprint", "interval"),
    "vigorous": (),
    "moderate": (),
    "light": ("gentle",),
}
AIMS: Mapping[str, tuple[str, ...]] = {
    "strength": (),
    "power": (),
    "hypertrophy": ("muscle growth",),
    "endurance": ("muscular endurance",),
}
STYLES: Mapping[str, tuple[str, ...]] = {
    "dynamic": (),
    "yoga": (),
    "pilates": (),
    "circuit": (),
    "rope skipping": ("skipping rope", "jump rope"),
}

# What the name of a move says about it. Longer names are looked for first, and each word is used once.
MOVES: Mapping[str, tuple[str, ...]] = {
    "squat": ("legs", "squat", "standing"),
    "sit and stand": ("legs", "squat", "standing"),
    "sit to stand": ("legs", "squat", "standing"),
    "back squat": ("legs", "squat", "standing"),
    "leg press": ("legs", "squat"),
    "wall sit": ("legs", "hold", "standing"),
    "lunge": ("legs", "lunge", "standing"),
    "split squat": ("legs", "lunge", "standing"),
    "back lunge": ("legs", "lunge", "standing"),
    "lunge back": ("legs", "lunge", "standing"),
    "step up": ("legs", "lunge", "standing"),
    "calf raise": ("legs", "standing"),
    "hip hinge": ("hips", "back", "hinge", "standing"),
    "hinge": ("hips", "back", "hinge", "standing"),
    "deadlift": ("hips", "back", "hinge", "standing"),
    "good morning": ("hips", "back", "hinge", "standing"),
    "swing": ("hips", "hinge", "standing"),
    "bridge": ("hips", "hinge", "lying"),
    "hip thrust": ("hips", "hinge"),
    "leg curl": ("legs",),
    "row": ("back", "pull"),
    "pull": ("back", "pull"),
    "pull up": ("back", "pull"),
    "pull down": ("back", "pull"),
    "pull apart": ("back", "pull"),
    "pulldown": ("back", "pull"),
    "curl": ("arms", "pull"),
    "push": ("chest", "push"),
    "push up": ("chest", "push", "lying"),
    "press up": ("chest", "push", "lying"),
    "wall push up": ("chest", "push", "standing"),
    "wall press up": ("chest", "push", "standing"),
    "chest press": ("chest", "push"),
    "bench press": ("chest", "push", "lying"),
    "press": ("shoulders", "push"),
    "dip": ("arms", "push"),
    "plank": ("core", "hold", "lying"),
    "side plank": ("core", "hold", "lying"),
    "hollow hold": ("core", "hold", "lying"),
    "hold": ("hold",),
    "dead bug": ("core", "lying"),
    "bird dog": ("core", "kneeling"),
    "crunch": ("core", "bend", "lying"),
    "sit up": ("core", "bend", "lying"),
    "side bend": ("core", "bend"),
    "side reach": ("core", "bend"),
    "cat and cow": ("back", "bend"),
    "wood chop": ("core", "rotate"),
    "windmill": ("core", "rotate"),
    "twist": ("core", "rotate"),
    "rotation": ("core", "rotate"),
    "march": ("legs", "step", "standing"),
    "walk": ("legs", "step", "standing"),
    "walking": ("legs", "step", "standing"),
    "run": ("legs", "step", "standing"),
    "running": ("legs", "step", "standing"),
    "jog": ("legs", "step", "standing"),
    "step": ("legs", "step", "standing"),
    "step back": ("legs", "step", "standing"),
    "fast feet": ("legs", "step", "standing"),
    "high knee": ("legs", "step", "standing"),
    "shuttle": ("legs", "step", "standing"),
    "jump": ("legs", "jump", "standing"),
    "hop": ("legs", "jump", "standing"),
    "jumping jack": ("legs", "jump", "standing"),
    "burpee": ("legs", "jump"),
    "rope skipping": ("legs", "jump", "rope skipping", "standing"),
    "skipping": ("legs", "jump", "standing"),
    "carry": ("core", "carry", "standing"),
    "figure four": ("hips", "stretch"),
    "opener": ("stretch",),
    "sprint": ("legs", "step", "full effort", "standing"),
}

# Parts by what they are called, in the languages a plan can have.
WARM_UP = (
    *("warm up", "warmup", "warming up", "aufwärmen", "erwärmen", "erwärmung", "calentamiento"),
    *("échauffement", "echauffement"),
)
COOL_DOWN = (
    *("cool down", "cooldown", "cooling down", "abwärmen", "ausklang", "abkühlen", "cool off"),
    *("vuelta a la calma", "enfriamiento", "retour au calme"),
)
# The beginnings of the words for breath in the same languages.
_BREATH = re.compile(r"\b(breath|inhal|exhal|atm|atem|ausatm|einatm|respir|inspir|expir|souffl)")

KINDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "region": REGIONS,
    "pattern": PATTERNS,
    "position": POSITIONS,
    "effort": EFFORTS,
    "aim": AIMS,
    "style": STYLES,
}
KIND_OF = {word: kind for kind, table in KINDS.items() for word in table}


def plain(text: str) -> str:
    """`text` in small letters, with single spaces for everything that is no letter or digit.

    >>> plain("Half-kneeling  Press!")
    'half kneeling press'
    """
    return " ".join(re.findall(r"\w+", text.casefold()))


def _singular(word: str) -> Iterator[str]:
    """`word`, and what it may be the plural of."""
    yield word
    if word.endswith("s"):
        yield word[:-1]
    if word.endswith("es"):
        yield word[:-2]
    if word.endswith("ves"):
        yield f"{word[:-3]}f"


def _also_called(tables: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    return {
        also: (word,) for kind in tables for word, others in KINDS[kind].items() for also in (word, *others)
    }


_TAG_WORDS = _also_called(tuple(KINDS))
# In a name, a word for an aim or a style is usually a word of the coach's own (`Strong march`).
_NAME_WORDS = _also_called(("region", "pattern", "position")) | dict(MOVES)
_POSITION_WORDS = _also_called(("position",))
_EFFORT_WORDS = dict.fromkeys(("full effort", *EFFORTS["full effort"]), ("full effort",))
_LONGEST = max(len(words.split()) for words in _NAME_WORDS)


def tag_word(tag: str) -> str | None:
    """The word of the lists that `tag` is, or None for one of the plan's own.

    >>> tag_word("Thighs"), tag_word("grip")
    ('legs', None)
    """
    found = next((_TAG_WORDS[word] for word in _singular(plain(tag)) if word in _TAG_WORDS), None)
    return found[0] if found else None


def words_in_name(name: str) -> tuple[str, ...]:
    """What the name of a move says about it.

    >>> words_in_name("Sit-ups"), words_in_name("Seated row")
    (('core', 'bend', 'lying'), ('seated', 'back', 'pull'))
    """
    return _found_in(name, _NAME_WORDS)


def positions_in(text: str) -> tuple[str, ...]:
    """The positions that a text names, in its order."""
    return _found_in(text, _POSITION_WORDS)


@lru_cache(maxsize=4096)
def means_full_effort(text: str) -> bool:
    """Whether a name asks for all that people have."""
    return bool(_found_in(text, _EFFORT_WORDS))


def speaks_of_breath(text: str) -> bool:
    """Whether a text, in any language of plans, says something about breathing."""
    return _BREATH.search(text.casefold()) is not None


@lru_cache(maxsize=4096)
def names_one_of(text: str, words: tuple[str, ...]) -> bool:
    """Whether `text` holds one of `words` as whole words."""
    return any(f" {word} " in f" {plain(text)} " for word in words)


def _found_in(text: str, table: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """What `table` says of the words in `text`: the longest entry first at each place, none twice."""
    words = plain(text).split()
    found: dict[str, None] = {}
    at = 0
    while at < len(words):
        for length in range(min(_LONGEST, len(words) - at), 0, -1):
            entries = _singular(" ".join(words[at : at + length]))
            entry = next((entry for entry in entries if entry in table), None)
            if entry is not None:
                found |= dict.fromkeys(table[entry])
                break
        at += length
    return tuple(found)
