"""The phrase tables: every language says every key, in both styles, with the same slots."""

from __future__ import annotations

import re
from itertools import pairwise, product

import pytest

from cuetrack.speech.length import estimated_seconds
from cuetrack.speech.phrases.language import SLOTS_BY_KEY
from cuetrack.speech.phrases.wording import LANGUAGES, phrase_text

TAGS = ("en", "es", "de", "fr")
KEYS = tuple(SLOTS_BY_KEY)
STYLES = ("full", "terse")
# How many wordings a key has at least, so that a session does not sound like a machine.
FEWEST = {"announce": 4, "announce-first": 3, "last-round": 3, "rest": 3, "finished": 3, "halfway": 3,
          "time-left": 3, "change-sides": 3, "well-done": 3}  # fmt: skip
# On a count, or the coach's own words: these are always the same.
UNCHANGING = ("as-written", "number", "go", "stage", "tempo-down", "tempo-hold", "tempo-up", "tempo-fast")

SLOT = re.compile(r"\{(\w+)(?::(\w+))?\}")
FULL_SLOTS = {
    "text": "Shoulders down.", "n": "21", "seconds": "90", "move": "Half-kneeling press", "side": "left",
    "stage": "slow lowering", "option": "Sit down.", "setup": "Chair behind you.", "equipment": "mat",
    "part": "Circuit", "keywords": "elbows close", "day": "3", "days": "14",
}  # fmt: skip


def sentences(wording):
    return (wording,) if isinstance(wording, str) else wording


def slots_of(wording):
    return {name for sentence in sentences(wording) for name, _ in SLOT.findall(sentence)}


def test_the_languages_are_these():
    assert tuple(LANGUAGES) == TAGS


@pytest.mark.parametrize("tag", TAGS)
def test_a_language_has_every_key_and_no_other(tag):
    assert set(LANGUAGES[tag].wordings) == set(KEYS)
    assert set(LANGUAGES[tag].sides) == {"left", "right"}


@pytest.mark.parametrize(("tag", "key"), [*product(TAGS, KEYS)])
def test_a_full_wording_has_every_slot_and_a_terse_one_no_other(tag, key):
    wordings = LANGUAGES[tag].wordings[key]
    assert wordings.full
    assert wordings.terse
    for wording in wordings.full:
        assert slots_of(wording) == set(SLOTS_BY_KEY[key])
    for wording in wordings.terse:
        assert slots_of(wording) <= set(SLOTS_BY_KEY[key])


@pytest.mark.parametrize(("tag", "key"), [*product(TAGS, KEYS)])
def test_a_slot_says_what_it_holds(tag, key):
    kinds = {"n": {"number"}, "seconds": {"time"}, "side": {"side", "direction"}, "text": {"verbatim"},
             "day": {"number"}, "days": {"number"}}  # fmt: skip
    wordings = LANGUAGES[tag].wordings[key]
    for wording in wordings.full + wordings.terse:
        for sentence in sentences(wording):
            assert all(kind in kinds.get(name, {""}) for name, kind in SLOT.findall(sentence))
            # Nothing is left that reads like a slot and is none, and pieces do not lie in each other.
            assert not re.search(r"[{}]", SLOT.sub("", sentence))
            assert not re.search(r"[\[\]]", re.sub(r"\[[^\[\]]*\]", "", sentence))


@pytest.mark.parametrize(("tag", "key"), [*product(TAGS, FEWEST)])
def test_wordings_differ_so_none_comes_twice_in_a_row(tag, key):
    said = [phrase_text(key, FULL_SLOTS, tag, turn=turn) for turn in range(40)]
    assert all(before != after for before, after in pairwise(said))
    assert len(set(said)) >= FEWEST[key]


@pytest.mark.parametrize(("tag", "key", "style"), [*product(TAGS, UNCHANGING, STYLES)])
def test_what_is_counted_or_the_coachs_own_never_varies(tag, key, style):
    assert len({phrase_text(key, FULL_SLOTS, tag, style=style, turn=turn) for turn in range(40)}) == 1


@pytest.mark.parametrize(("tag", "key"), [*product(TAGS, KEYS)])
@pytest.mark.parametrize(
    "empty", [(), ("side",), ("move",), ("keywords",), ("stage", "option", "setup", "equipment")]
)
def test_terse_is_never_longer_than_any_full_wording(tag, key, empty):
    slots = FULL_SLOTS | dict.fromkeys(empty, "")

    def seconds(style, turn):
        return estimated_seconds(phrase_text(key, slots, tag, style=style, turn=turn), 155, tag)

    wordings = LANGUAGES[tag].wordings[key]
    longest_terse = max(seconds("terse", turn) for turn in range(len(wordings.terse)))
    if slots["move"] or key not in {"announce", "announce-first"}:
        assert longest_terse <= min(seconds("full", turn) for turn in range(len(wordings.full)))
    else:  # nothing to name: the terse phrase is the full one
        assert all(seconds("terse", turn) <= seconds("full", turn) for turn in range(20))


@pytest.mark.parametrize(
    ("tag", "said"),
    [
        ("es", "Siguiente: Press, lado derecho. En pausa. Material: colchoneta."),
        ("de", "Als Nächstes: Press, rechte Seite. En pausa. Material: colchoneta."),
        ("fr", "Ensuite : Press, côté droit. En pausa. Matériel : colchoneta."),
    ],
)
def test_an_announcement_in_each_language(tag, said):
    slots = {"move": "Press", "side": "right", "stage": "en pausa", "equipment": "colchoneta"}
    assert phrase_text("announce", slots, tag) == said


@pytest.mark.parametrize("tag", TAGS)
def test_no_wording_addresses_anybody_formally_or_as_one_of_many(tag):
    """Neither tú nor usted, du nor Sie nor ihr, tu nor vous has to be chosen."""
    address = {
        "en": r"$^",
        "es": r"tú|te|tu|usted|ustedes|vosotros|os|su",
        "de": r"du|dich|dein\w*|Sie|Ihr\w*|ihr\w*|euch|euer",
        "fr": r"tu|te|toi|vous|votre|vos|\w+ez",
    }[tag]
    for wordings in LANGUAGES[tag].wordings.values():
        for wording in wordings.full + wordings.terse:
            for sentence in sentences(wording):
                assert not re.search(rf"\b(?:{address})\b", SLOT.sub("", sentence))


@pytest.mark.parametrize(
    ("tag", "said"),
    [
        ("en", ["Circuit, one minute left in all.", "Forty seconds. Elbows close.", "Then Row, left side.",
                "Then the left side.", "This is the last one.", "Talk for forty seconds. Elbows close.",
                "Ten seconds to talk."]),
        ("es", ["Circuit, aún un minuto en total.", "Cuarenta segundos. Elbows close.",
                "Después: Row, lado izquierdo.", "Después, lado izquierdo.", "Es el último ejercicio.",
                "Cuarenta segundos para hablar. Elbows close.", "Aún diez segundos para hablar."]),
        ("de", ["Circuit, insgesamt noch eine Minute.", "Vierzig Sekunden. Elbows close.",
                "Danach: Row, linke Seite.", "Danach linke Seite.", "Das ist die letzte Übung.",
                "Vierzig Sekunden zum Reden. Elbows close.", "Noch zehn Sekunden zum Reden."]),
        ("fr", ["Circuit, encore une minute en tout.", "Quarante secondes. Elbows close.",
                "Ensuite : Row, côté gauche.", "Ensuite, côté gauche.", "C'est le dernier exercice.",
                "Quarante secondes pour parler. Elbows close.", "Encore dix secondes pour parler."]),
    ],
)  # fmt: skip
def test_what_only_the_coach_hears_in_each_language(tag, said):
    """No verb stands by the time, so one minute needs no other wording than two."""
    prompts = [
        ("prompt-part", "60"),
        ("prompt-work", "40"),
        ("prompt-next", ""),
        ("prompt-side", ""),
        ("prompt-last", ""),
        ("prompt-talk", "40"),
        ("prompt-left", "10"),
    ]
    slots = FULL_SLOTS | {"move": "Row"}
    assert [phrase_text(key, slots | {"seconds": time}, tag) for key, time in prompts] == said
