"""Short forms and trade words in words, and ordinary prose as it was."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuetrack.speech.lexicon import LEXICONS, spoken_form
from cuetrack.speech.phrases.wording import LANGUAGES, text_key

ORDINARY = Path(__file__).parent / "ordinary"

ENGLISH = {
    # sets and repetitions
    "3 x 10": "three sets of ten",
    "3x10": "three sets of ten",
    "1 × 10": "one set of ten",
    "3 x 8-12 reps": "three sets of eight to twelve reps",
    "3 x 30s": "three sets of thirty seconds",
    "Row 3 x 10/side": "Row three sets of ten per side",
    "10x": "ten times",
    "x10": "ten times",
    "10-8-6-4": "ten, eight, six, four",
    # times
    "30s": "thirty seconds",
    "1 s": "one second",
    "30 sec. hold": "thirty seconds hold",
    "30 sec. Then rest.": "thirty seconds. Then rest.",
    "2 min": "two minutes",
    "2 MIN": "two minutes",
    "1:30": "one minute thirty",
    "0:45": "forty-five seconds",
    "1 min 30 s": "one minute thirty",
    "2½ min": "two and a half minutes",
    "40/20": "forty, twenty",
    # units and signs
    "10 kg": "ten kilos",
    "1 kg": "one kilo",
    "2.5 kg": "two and a half kilos",
    "7.25 kg": "seven point two five kilos",
    "10 lb": "ten pounds",
    "500 m": "five hundred metres",
    "5 km": "five kilometres",
    "96 bpm": "ninety-six beats a minute",
    "50%": "fifty percent",
    "90°": "ninety degrees",
    "½ squat": "half squat",
    "1/2 squat": "half squat",
    "1½": "one and a half",
    "8-12": "eight to twelve",
    "8 – 12": "eight to twelve",
    "20..40 s": "twenty to forty seconds",
    "2-2.5 kg": "two to two and a half kilos",
    "1.25-1.5 kg": "one point two five to one and a half kilos",
    "1-1½ min": "one to one and a half minutes",
    "2.5-2 kg": "two and a half, two kilos",
    "no. 3": "number three",
    "#3": "number three",
    "2nd": "second",
    "21st": "twenty-first",
    "R2": "round two",
    "Round 2/3": "Round two of three",
    "1-arm row": "one-arm row",
    "3 rounds.": "three rounds.",
    # words
    "RDL": "Romanian deadlift",
    "SLDL": "straight-leg deadlift",
    "AMRAP": "am-rap",
    "EMOM": "every minute on the minute",
    "DB row": "dumbbell row",
    "KB swing": "kettlebell swing",
    "Row (L)": "Row (left)",
    "L/R": "left and right",
    "w/ band": "with band",
    "w/band": "with band",
    "w/o band": "without band",
    "arms & legs": "arms and legs",
    "plié": "plee-yay",
    "Plié": "plee-yay",
    "plie\u0301": "plee-yay",
    "PLIÉ": "plee-yay",
    # decoration
    "🔥🔥 Go! 💪🏽": "Go!",
    "3️⃣ rounds": "three rounds",
    "**Row** _now_ ★": "Row now",
    "★ Row": "Row",
    "👩‍👩‍👧": "",
    "": "",
}
UNCHANGED = (
    "rdl", "ADB", "plier", "e3mom", "2026", "1,000 m", "B12", "007", "12/05/2026", "2026-05-12",
    "555-123-4567", "$10", "at 10:30", "10:30 am", "No. Not now.", "Row.", "3:1", "١٢",
)  # fmt: skip
SPANISH = {
    "3 x 10": "tres series de diez", "21 x 10": "veintiuna series de diez", "21 s": "veintiún segundos",
    "1 min": "un minuto", "1 minuto": "un minuto", "21 repeticiones": "veintiuna repeticiones",
    "1 ronda": "una ronda", "1 lado": "un lado", "1 y 2": "uno y dos", "2ª ronda": "segunda ronda",
    "1.er lado": "primer lado", "2,5 kg": "dos coma cinco kilos", "8-12": "ocho a doce",
    "1:30": "un minuto treinta", "30'' de plancha": "treinta segundos de plancha", "½": "medio",
    "2'30": "dos minutos treinta", "n.º 3": "número tres", "RDL": "peso muerto rumano",
    "brazos & piernas": "brazos y piernas", "50 %": "cincuenta por ciento", "R2": "ronda dos",
    "10/lado": "diez por lado", "a las 10:30": "a las 10:30", "Burpees": "burpis",
}  # fmt: skip
GERMAN = {
    "3 x 10": "drei Sätze zu zehn", "1 x 10": "ein Satz zu zehn", "30s": "dreißig Sekunden",
    "30 Sek.": "dreißig Sekunden", "1 Minute": "eine Minute", "1 Runde": "eine Runde",
    "1 Satz": "ein Satz", "2. Runde": "2. Runde", "2,5 kg": "zweieinhalb Kilo", "1½": "eineinhalb",
    "10 Wdh.": "zehn Wiederholungen", "8-12 Wdh": "acht bis zwölf Wiederholungen",
    "1:30": "eine Minute dreißig", "Nr. 3": "Nummer drei", "li/re": "links und rechts",
    "z. B.": "zum Beispiel", "RDL": "rumänisches Kreuzheben", "Arme & Beine": "Arme und Beine",
    "50 %": "fünfzig Prozent", "R2": "Runde zwei", "10/Seite": "zehn pro Seite",
    "um 10:30": "um 10:30", "Squats": "Squotts",
}  # fmt: skip
FRENCH = {
    "3 x 10": "trois séries de dix", "21 x 10": "vingt et une séries de dix",
    "21 s": "vingt et une secondes", "1 min": "une minute", "1 tour": "un tour", "1 jambe": "une jambe",
    "1er tour": "premier tour", "1re": "première", "2e tour": "deuxième tour", "3ème": "troisième",
    "2,5 kg": "deux virgule cinq kilos", "8-12": "huit à douze", "1:30": "une minute trente",
    "2'30": "deux minutes trente", "n° 3": "numéro trois", "RDL": "soulevé de terre roumain",
    "bras & jambes": "bras et jambes", "50 %": "cinquante pour cent", "T2": "tour deux",
    "10/côté": "dix par côté", "à 10:30": "à 10:30", "Squats": "squattes", "½": "demi",
}  # fmt: skip
CASES = [
    (tag, written, spoken)
    for tag, cases in (("en", ENGLISH), ("es", SPANISH), ("de", GERMAN), ("fr", FRENCH))
    for written, spoken in cases.items()
] + [("en", text, text) for text in UNCHANGED]


def ordinary(tag):
    return (ORDINARY / f"{tag}.txt").read_text(encoding="utf-8").splitlines()


def test_every_language_that_has_phrases_has_a_lexicon():
    assert set(LEXICONS) == set(LANGUAGES)


@pytest.mark.parametrize(("tag", "written", "spoken"), CASES)
def test_spoken_form(tag, written, spoken):
    assert spoken_form(written, tag) == spoken
    assert spoken_form(spoken, tag) == spoken


@pytest.mark.parametrize(
    ("tag", "before", "after"),
    [("en", "Now ", ", please."), ("es", "Ahora ", ", por favor."), ("de", "Jetzt ", ", bitte."),
     ("fr", "Maintenant ", ", merci.")],
)  # fmt: skip
def test_short_forms_are_found_inside_a_sentence(tag, before, after):
    for own_tag, written, spoken in CASES:
        if own_tag == tag and spoken and written[-1].isalnum() and written not in UNCHANGED:
            assert spoken_form(before + written + after, tag) == before + spoken + after


@pytest.mark.parametrize("tag", LANGUAGES)
def test_ordinary_sentences_stay_as_they_are(tag):
    sentences = ordinary(tag)
    assert len(set(sentences)) == 100
    changed = {text: spoken for text in sentences if (spoken := spoken_form(text, tag)) != text}
    assert not changed


@pytest.mark.parametrize("tag", LANGUAGES)
def test_what_the_tables_say_is_spoken_as_it_stands(tag):
    table = LEXICONS[tag]
    spoken = [*table.words.values(), *table.fractions.values(), *table.first.values()]
    spoken += [unit.one for unit in table.units.values()]
    assert [spoken_form(text, tag) for text in spoken] == spoken


@pytest.mark.parametrize(
    ("tag", "twelve"), [("en", "twelve"), ("es", "doce"), ("de", "zwölf"), ("fr", "douze")]
)
def test_every_entry_of_the_tables_is_found(tag, twelve):
    table = LEXICONS[tag]
    for written, spoken in table.words.items():
        assert spoken_form(written, tag) == spoken
    for written, unit in table.units.items():
        assert spoken_form(f"1 {written}", tag) == unit.one
        assert spoken_form(f"12{written}", tag) == unit.many.format(twelve)


@pytest.mark.parametrize(
    ("lexicon", "written", "spoken"),
    [
        ({"RDL": "R D L"}, "RDL, RDLs", "R D L, Romanian deadlifts"),
        ({"plié": "plié"}, "Plié squat", "plié squat"),  # switches the table's entry off
        ({"quay": "key"}, "Quay row on the QUAY, quays", "key row on the key, quays"),
        ({"Quay": "key"}, "Quay, quay", "key, quay"),
        ({"band": "strap", "band row": "strap pull"}, "Band row, band", "strap pull, strap"),
        ({"3 x 10": "thirty"}, "3 x 10, then 3 x 12", "thirty, then three sets of twelve"),
        ({"kg": "kilograms"}, "10 kg", "ten kilograms"),
        ({"WOD": "3 kg"}, "WOD", "3 kg"),  # spoken as the coach wrote it
        ({"♥": "heart"}, "♥️ rate", "heart rate"),
        ({"RDL": "R D L"}, "**RDL** _RDL_", "R D L R D L"),
        ({"hush": ""}, "Row, hush", "Row,"),
        ({"": "x", " ": "y"}, "Row on", "Row on"),
        ({"a.b": "dot"}, "a.b axb", "dot axb"),
    ],
)
def test_the_coachs_own_entries_win(lexicon, written, spoken):
    assert spoken_form(written, "en", lexicon) == spoken


def test_a_language_without_a_table_still_knows_the_coachs_entries():
    assert spoken_form("Rematore 🚣 3 x 10, RDL", "it", {"RDL": "stacco rumeno"}) == (
        "Rematore 3 x 10, stacco rumeno"
    )


def test_a_tag_may_carry_a_region():
    assert spoken_form("30 s", "de-AT") == "dreißig Sekunden"
    assert spoken_form("30 s", "EN_gb") == "thirty seconds"


# Short forms and their neighbours, so that random texts are full of what the search looks for.
PIECES = (
    "0 1 3 10 21 007 2026 ½ ¼ x × * - – / : . , ; ' ′ ″ s min min. kg % ° + & w/ R T no. n° # (L) RDL Plié "
    "at um le Runde round 2. er st ª º e _ ** 🔥 ️⃣ a B ~ @ → $ ( ) ! ? ſ İ ı ß \u200d \u0301 \ud800"
)
TEXTS = st.one_of(st.text(), st.lists(st.sampled_from([*PIECES.split(" "), " "]), max_size=14).map("".join))
TAGS = st.sampled_from(["en", "es", "de", "fr", "it", "", "-"])

# A whole number below a thousand that stands alone: an engine of another language would misread it.
ALONE = re.compile(r"(?<![\w.,:/\-–−$€£'’])(?!0[0-9])[0-9]{1,3}(?=$|[ ;!?)]|,(?: |$))")


@given(TEXTS, TAGS)
def test_any_text_is_spoken_once_and_for_all(text, tag):
    spoken = spoken_form(text, tag)
    assert spoken == text_key(spoken)
    assert spoken_form(spoken, tag) == spoken
    if tag in LANGUAGES:
        assert not ALONE.search(spoken)


@given(TEXTS, TAGS, st.dictionaries(TEXTS, TEXTS, max_size=4))
def test_any_entries_of_the_coach_are_accepted(text, tag, lexicon):
    assert spoken_form(text, tag, lexicon) == text_key(spoken_form(text, tag, lexicon))


@given(st.text(alphabet="🔥💪🏽★☆✅❤️🚣‍♀️ \t"))
def test_only_decoration_is_nothing_to_say(text):
    assert spoken_form(text) == ""


def test_a_very_long_text_is_no_trouble():
    assert spoken_form("3 x 10 " * 1500).count("three sets of ten") == 1500
    assert spoken_form("1-" * 5000)
    assert spoken_form("a" * 10_000) == "a" * 10_000
