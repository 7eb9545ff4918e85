"""Spanish: how short forms and trade words are spoken.

The respellings are for engines that speak by rule; each was checked in the phonemes of eSpeak NG.
"""

from __future__ import annotations

from cuetrack.speech.lexicons.table import Lexicon, spelled
from cuetrack.speech.phrases.language import Unit
from cuetrack.speech.phrases.spanish import SPANISH

_MASCULINE = (("veintiuno", "veintiún"), ("uno", "un"))
_FEMININE = (("uno", "una"),)

LEXICON = Lexicon(
    language=SPANISH,
    words={
        "AMRAP": "amrap",
        "EMOM": "cada minuto al minuto",
        "FC": "frecuencia cardíaca",
        "HIIT": "jit",
        "KB": "pesa rusa",
        "RDL": "peso muerto rumano",
        "RM": "repetición máxima",
        "1RM": "una repetición máxima",
        "burpee": "burpi",
        "burpees": "burpis",
        "squat": "escuat",
        "kettlebell": "ketelbel",
        "I/D": "izquierda y derecha",
        "D/I": "derecha e izquierda",
        "(I)": "(izquierda)",
        "(D)": "(derecha)",
        "c/": "con",
        "s/": "sin",
        "c/u": "cada uno",
        "izq.": "izquierda",
        "dcha.": "derecha",
        "der.": "derecha",
        "aprox.": "aproximadamente",
        "máx.": "máximo",
        "mín.": "mínimo",
        "p. ej.": "por ejemplo",
        "vs": "contra",
        "vs.": "contra",
        "/lado": "por lado",
        "/brazo": "por brazo",
        "/pierna": "por pierna",
        "/semana": "por semana",
        "&": "y",
        "+": "más",
        "→": "a",
        "~": "unos",
        "≈": "unos",
        "plié": "plié",
    },
    units=spelled(
        {
            "s seg seg. segs segundo segundos ″ ''": SPANISH.time.second,
            "min mins minuto minutos ′ '": SPANISH.time.minute,
            "h hr hrs hora horas": SPANISH.time.hour,
            "rep reps repetición repeticiones": Unit(
                "una repetición", "{} repeticiones", _FEMININE),
            "kg kgs": Unit("un kilo", "{} kilos", _MASCULINE),
            "g": Unit("un gramo", "{} gramos", _MASCULINE),
            "lb lbs": Unit("una libra", "{} libras", _FEMININE),
            "m": Unit("un metro", "{} metros", _MASCULINE),
            "km": Unit("un kilómetro", "{} kilómetros", _MASCULINE),
            "cm": Unit("un centímetro", "{} centímetros", _MASCULINE),
            "bpm ppm lpm": Unit("un latido por minuto", "{} latidos por minuto", _MASCULINE),
            "rpm": Unit("una vuelta por minuto", "{} vueltas por minuto", _FEMININE),
            "kcal": Unit("una caloría", "{} calorías", _FEMININE),
            "W": Unit("un vatio", "{} vatios", _MASCULINE),
            "%": Unit("uno por ciento", "{} por ciento"),
            "°": Unit("un grado", "{} grados", _MASCULINE),
        }
    ),
    sets=Unit("una serie", "{} series", _FEMININE),
    times=Unit("una vez", "{} veces", _FEMININE),
    sets_of="{} de {}",
    range="{} a {}",
    of="{} de {}",
    decimal="{} coma {}",
    and_a_half="{} y medio",
    fractions={
        "1/2": "medio", "½": "medio", "1/3": "un tercio", "⅓": "un tercio", "2/3": "dos tercios",
        "⅔": "dos tercios", "1/4": "un cuarto", "¼": "un cuarto", "3/4": "tres cuartos",
        "¾": "tres cuartos",
    },
    round="ronda {}",
    round_marks=("R",),
    number="número {}",
    number_marks=("n.º", "nº", "n°", "núm.", "#", "№"),
    counted=("ronda", "serie", "parte", "lado", "vuelta"),
    ordinals={"º": None, ".º": None, "ª": "a", ".ª": "a"},
    first={"1.er": "primer", "1er": "primer", "3.er": "tercer", "3er": "tercer"},
    clock_before=("las", "la"),
    clock_after=("h", "am", "pm", "a.m", "a. m", "p.m", "p. m"),
    nouns=(
        (r"(?:y|e|o|u|a|de|del|por|más|en|con|para|al|es|son)\b", ()),
        (r"\w+(?:as?|ción|ciones|sión|siones|dad|dades)\b", _FEMININE),
        (r"[^\W\d]{2,}", _MASCULINE),
    ),
)  # fmt: skip
