"""The headings of a table's columns → keys of the plan, in four languages; the unit a heading names.

The words are the trade's own in each language (common practice, no source). Words that could mean two
things are left out: `sets` of one move are no `rounds` of a part.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from cuetrack.document.located import shown
from cuetrack.document.model import Node
from cuetrack.errors import UsageError, did_you_mean
from cuetrack.plan.model import MoveStep, Part, RestStep, Session, TalkStep

# What a row is. A table may say so in a column of its own; else it follows from the cells that are filled.
MODELS: dict[str, type[Node]] = {
    "session": Session,
    "part": Part,
    "move": MoveStep,
    "rest": RestStep,
    "talk": TalkStep,
}
KIND = "kind"
KEYS = tuple(
    dict.fromkeys(
        [
            *(KIND, "session", "part", "rounds", "move", "work", "stages", "sides", "change", "rest", "talk"),
            *(key for model in (MoveStep, Part, RestStep, TalkStep, Session) for key in model.allowed_keys()),
        ]
    )
)
# These hold other rows.
_NO_COLUMN = {"parts", "steps"}
# Such columns are read only where the table says which row is the session's: a column `comment` or
# `coach` in a table of moves is something else.
_OF_STEPS = {key for model in (MoveStep, Part, RestStep, TalkStep) for key in model.allowed_keys()}
SESSION_KEYS = set(Session.allowed_keys()) - _OF_STEPS - {"session"}

_WORDS = {
    KIND: "kind, type, art, typ, zeilenart, tipo, clase de fila, genre",
    "session": "session, class, einheit, kurs, stunde, sesión, séance",
    "part": "part, section, block, teil, abschnitt, parte, bloque, sección, partie, bloc",
    "rounds": "rounds, runden, durchgänge, rondas, vueltas, tours",
    "move": "move, exercise, movement, übung, bewegung, ejercicio, movimiento, exercice, mouvement",
    "work": "work, working time, time, duration, arbeit, arbeitszeit, belastung, dauer, zeit, trabajo, "
    "tiempo, duración, travail, temps, durée, effort",
    "stages": "stages, stufen, etapas, étapes, paliers",
    "sides": "sides, side, seite, seiten, lado, lados, côté, côtés",
    "change": "change, changeover, wechsel, seitenwechsel, cambio, changement",
    "rest": "rest, break, recovery, pause, erholung, descanso, pausa, recuperación, repos, récupération",
    "talk": "talk, ansprache, charla, explicación, parole, explication",
    "setup": "setup, set-up, position, starting position, ausgangsposition, ausgangsstellung, startposition, "
    "posición, posición inicial, position de départ, mise en place",
    "equipment": "equipment, gear, kit, gerät, geräte, material, ausrüstung, equipo, equipamiento, matériel",
    "easier": "easier, regression, leichter, einfacher, más fácil, plus facile",
    "harder": "harder, progression, schwerer, schwieriger, más difícil, plus difficile",
    "tempo": "tempo, ritmo",
    "tags": "tags, stichwörter, schlagwörter, etiquetas, étiquettes",
    "notes": "notes, remarks, notizen, hinweise, bemerkung, bemerkungen, notas, observaciones, remarques",
    "length": "length, total length, gesamtdauer, duración total, durée totale",
}
_UNITS = {
    "s": "s, sec, secs, second, seconds, sek, sekunde, sekunden, seg, segs, segundo, segundos, seconde, "
    "secondes",
    "min": "min, mins, minute, minutes, minuten, minuto, minutos",
    "h": "h, hour, hours, std, stunde, stunden, hora, horas, heure, heures",
    "counts": "counts, count",
    "bpm": "bpm",
}
_LONGEST_HEADING = 80
_UNIT_IN_HEADING = re.compile(
    r"(.+?)\s*(?:[(\[]\s*(?:in\s+|en\s+)?([^)\]]+?)\.?\s*[)\]]|\s(?:in|en)\s+(\S+))"
)


def folded(text: str) -> str:
    """A word as it is compared: without capitals, accents, punctuation at its ends.

    >>> folded(" Übung: ")
    'ubung'
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(character for character in apart if not unicodedata.combining(character))
    return " ".join(plain.split()).strip(" :.*")


def _by_word(table: Mapping[str, str]) -> dict[str, str]:
    return {folded(word): key for key, words in table.items() for word in words.split(",")}


COLUMN_KEYS = tuple(key for key in KEYS if key not in _NO_COLUMN)
# A key of the plan is a heading too, also one that has no other words here.
_KEY_OF = _by_word({key: words for key, words in _WORDS.items() if key in COLUMN_KEYS})
_KEY_OF |= {folded(key): key for key in COLUMN_KEYS}
_UNIT_OF = _by_word(_UNITS)


def kind_of_word(text: str) -> str | None:
    """The kind of row that a word in the column `kind` names."""
    key = _KEY_OF.get(folded(text))
    return key if key in MODELS else None


def unit_of_word(text: str) -> str | None:
    """The unit as a plan writes it: s, min, h, counts or bpm."""
    return _UNIT_OF.get(folded(text))


@dataclass(frozen=True, slots=True)
class Column:
    """What a column holds: a key of the plan; the unit of its bare numbers, if the heading names one."""

    key: str
    unit: str | None = None


def column_of(heading: str) -> Column | None:
    """What a heading says about its column; None for one that is no word of ours.

    >>> column_of("Pause (Sek.)")
    Column(key='rest', unit='s')
    """
    word, unit = _word_and_unit(heading)
    key = _KEY_OF.get(folded(word))
    return Column(key, unit) if key else None


def unit_in_heading(heading: str) -> str | None:
    """The unit that a heading names, of whatever the column holds.

    >>> unit_in_heading("On (sec)"), unit_in_heading("On (bike)")
    ('s', None)
    """
    return _word_and_unit(heading)[1]


def _word_and_unit(heading: str) -> tuple[str, str | None]:
    if len(heading) > _LONGEST_HEADING:
        return "", None
    found = _UNIT_IN_HEADING.fullmatch(" ".join(heading.split()))
    unit = unit_of_word(found[2] or found[3]) if found else None
    return (found[1], unit) if found and unit else (heading, None)


def mapped_columns(options: Iterable[str]) -> dict[str, Column]:
    """`work=Dauer`, `work (s)=Dauer` → what the columns with these headings (folded) hold.

    Raises:
        UsageError: one is not written so, or names no key of the plan.
    """
    found: dict[str, Column] = {}
    for option in options:
        written, sign, heading = option.partition("=")
        if not sign or not heading.strip():
            raise UsageError(f"--column {option!r} names no heading; write it like work=Dauer")
        column = column_of(written)
        if column is None:
            hint = did_you_mean(written.strip()[:40], COLUMN_KEYS)
            raise UsageError(f"--column: {shown(written)} is no key of a plan; {hint}")
        found[folded(heading)] = column
    return found
