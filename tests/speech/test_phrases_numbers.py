"""Numbers and times in words. What they have to be is written out by hand, from the grammar named beside."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from cuetrack.speech.phrases.language import Unit
from cuetrack.speech.phrases.numbers import counted, number_words, ordinal_words, time_words
from cuetrack.speech.phrases.wording import LANGUAGES


# English with "and" and hyphens; Spanish: RAE, Ortografía 2010, veinti- in one word; German in one word;
# French: hyphens below one hundred but "et un" (before the reform of 1990). All from memory.
@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ("en", "zero one thirteen twenty twenty-one thirty ninety-nine"),
        ("es", "cero uno trece veinte veintiuno treinta noventa_y_nueve"),
        ("de", "null eins dreizehn zwanzig einundzwanzig dreißig neunundneunzig"),
        ("fr", "zéro un treize vingt vingt_et_un trente quatre-vingt-dix-neuf"),
    ],
)
def test_counted_numbers_come_out_as_a_coach_counts(tag, words):
    said = [number_words(n, tag) for n in (0, 1, 13, 20, 21, 30, 99)]
    assert said == [word.replace("_", " ") for word in words.split()]


@pytest.mark.parametrize(
    ("tag", "number", "words"),
    [
        ("en", 105, "one hundred and five"),
        ("en", 999, "nine hundred and ninety-nine"),
        ("en", 1_100, "one thousand one hundred"),
        ("en", 1_000_000, "1000000"),
        ("en", -1, "-1"),
        ("es", 21_000, "veintiún mil"),
        ("es", 31_000, "treinta y un mil"),
        ("fr", 80, "quatre-vingts"),
        ("fr", 71, "soixante et onze"),
    ],
)
def test_larger_numbers(tag, number, words):
    assert number_words(number, tag) == words


@pytest.mark.parametrize("tag", LANGUAGES)
def test_every_number_a_count_may_reach_has_words_of_its_own(tag):
    words = [number_words(n, tag) for n in range(1000)]
    assert len(set(words)) == 1000
    assert all(re.fullmatch("[a-zäöüßéèó -]+", word) for word in words)


@pytest.mark.parametrize(
    ("tag", "said"),
    [
        ("en", ["half a second", "one second", "one and a half seconds", "two and a half seconds",
                "seven point two seconds", "twenty-one seconds", "one minute", "one minute thirty",
                "one minute and five seconds", "twenty-one minutes", "one hour and two minutes",
                "twenty-one hours"]),
        ("es", ["medio segundo", "un segundo", "un segundo y medio", "dos segundos y medio",
                "siete coma dos segundos", "veintiún segundos", "un minuto", "un minuto treinta",
                "un minuto y cinco segundos", "veintiún minutos", "una hora y dos minutos",
                "veintiuna horas"]),
        ("de", ["eine halbe Sekunde", "eine Sekunde", "eineinhalb Sekunden", "zweieinhalb Sekunden",
                "sieben Komma zwei Sekunden", "einundzwanzig Sekunden", "eine Minute",
                "eine Minute dreißig", "eine Minute und fünf Sekunden", "einundzwanzig Minuten",
                "eine Stunde und zwei Minuten", "einundzwanzig Stunden"]),
        ("fr", ["une demi-seconde", "une seconde", "une seconde et demie", "deux secondes et demie",
                "sept virgule deux secondes", "vingt et une secondes", "une minute",
                "une minute trente", "une minute et cinq secondes", "vingt et une minutes",
                "une heure et deux minutes", "vingt et une heures"]),
    ],
)  # fmt: skip
def test_times_agree_with_their_unit(tag, said):
    times = ("0.5", "1", "1.5", "2.5", "7.2", "21", "60", "90", "65", "1260", "3720", "75600")
    assert [time_words(Fraction(time), LANGUAGES[tag]) for time in times] == said


def test_one_is_the_units_own_word():
    unit = Unit("una serie", "{} series", (("uno", "una"),))
    assert [counted(n, unit, "es") for n in (1, 2, 31)] == ["una serie", "dos series", "treinta y una series"]


def test_ordinals():
    assert [ordinal_words(3, tag) for tag in ("en", "es", "fr")] == ["third", "tercero", "troisième"]
