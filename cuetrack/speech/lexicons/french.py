"""French: how short forms and trade words are spoken.

The respellings are for engines that speak by rule; each was checked in the phonemes of eSpeak NG.
"""

from __future__ import annotations

from cuetrack.speech.lexicons.table import Lexicon, spelled
from cuetrack.speech.phrases.french import FRENCH
from cuetrack.speech.phrases.language import Unit

_FEMININE = (("un", "une"),)

LEXICON = Lexicon(
    language=FRENCH,
    words={
        "AMRAP": "amrap",
        "EMOM": "chaque minute à la minute",
        "FC": "fréquence cardiaque",
        "HIIT": "hite",
        "KB": "kettlebell",
        "RDL": "soulevé de terre roumain",
        "SDT": "soulevé de terre",
        "RM": "répétition maximale",
        "1RM": "une répétition maximale",
        "burpee": "beurpi",
        "burpees": "beurpis",
        "squat": "squatte",
        "squats": "squattes",
        "G/D": "gauche et droite",
        "D/G": "droite et gauche",
        "(G)": "(gauche)",
        "(D)": "(droite)",
        "alt.": "en alternance",
        "env.": "environ",
        "max.": "maximum",
        "p. ex.": "par exemple",
        "vs": "contre",
        "/côté": "par côté",
        "/bras": "par bras",
        "/jambe": "par jambe",
        "/semaine": "par semaine",
        "&": "et",
        "+": "plusse",
        "→": "vers",
        "~": "environ",
        "≈": "environ",
    },
    units=spelled(
        {
            "s sec sec. seconde secondes ″ ''": FRENCH.time.second,
            "min mins minute minutes ′ '": FRENCH.time.minute,
            "h heure heures": FRENCH.time.hour,
            "rep reps rép rép. reps.": Unit("une répétition", "{} répétitions", _FEMININE),
            "fois": Unit("une fois", "{} fois", _FEMININE),
            "série séries": Unit("une série", "{} séries", _FEMININE),
            "kg": Unit("un kilo", "{} kilos"),
            "g": Unit("un gramme", "{} grammes"),
            "lb lbs": Unit("une livre", "{} livres", _FEMININE),
            "m": Unit("un mètre", "{} mètres"),
            "km": Unit("un kilomètre", "{} kilomètres"),
            "cm": Unit("un centimètre", "{} centimètres"),
            "bpm": Unit("un battement par minute", "{} battements par minute"),
            "rpm": Unit("un tour par minute", "{} tours par minute"),
            "kcal": Unit("une calorie", "{} calories", _FEMININE),
            "W": Unit("un watt", "{} watts"),
            "%": Unit("un pour cent", "{} pour cent"),
            "°": Unit("un degré", "{} degrés"),
        }
    ),
    sets=Unit("une série", "{} séries", _FEMININE),
    times=Unit("une fois", "{} fois", _FEMININE),
    sets_of="{} de {}",
    range="{} à {}",
    of="{} sur {}",
    decimal="{} virgule {}",
    and_a_half="{} et demi",
    fractions={
        "1/2": "demi", "½": "demi", "1/3": "un tiers", "⅓": "un tiers", "2/3": "deux tiers",
        "⅔": "deux tiers", "1/4": "un quart", "¼": "un quart", "3/4": "trois quarts",
        "¾": "trois quarts",
    },
    round="tour {}",
    round_marks=("T", "R"),
    number="numéro {}",
    number_marks=("n°", "nº", "no.", "#", "№"),
    counted=("tour", "série", "partie", "côté"),
    ordinals={"e": None, "ème": None, "es": None},
    first={"1er": "premier", "1ers": "premiers", "1re": "première", "1ère": "première", "2nd": "second",
           "2nde": "seconde"},
    clock_before=("à", "vers", "dès", "avant", "après", "depuis"),
    clock_after=("h",),
    nouns=(
        (r"(?:jambe|main|pause|fente|planche|position|ronde|respiration|pompe|montée|flexion)s?\b",
         _FEMININE),
    ),
)  # fmt: skip
