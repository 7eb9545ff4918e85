"""Whole numbers and lengths of time → words, as a coach says them; the numbers are num2words'."""

from __future__ import annotations

from fractions import Fraction
from math import floor

from cuetrack.speech.phrases.language import Language, Unit

_LARGEST = 999_999
# Spanish: num2words leaves the number before "mil" whole.
_BEFORE_THOUSANDS = (("veintiuno mil", "veintiún mil"), ("uno mil", "un mil"))


def number_words(number: int, language: str) -> str:
    """A whole number from 0 to 999,999 in words; anything else in digits.

    >>> number_words(21, "en"), number_words(105, "en"), number_words(2000, "en")
    ('twenty-one', 'one hundred and five', 'two thousand')
    >>> [number_words(21, tag) for tag in ("es", "de", "fr")]
    ['veintiuno', 'einundzwanzig', 'vingt et un']
    """
    if not 0 <= number <= _LARGEST:
        return str(number)
    return _num2words(number, language, "cardinal")


def ordinal_words(number: int, language: str) -> str:
    """A place in a row, from 1 to 999,999, in the masculine where there is one.

    >>> [ordinal_words(2, tag) for tag in ("en", "es", "fr")]
    ['second', 'segundo', 'deuxième']
    """
    return _num2words(number, language, "ordinal")


def _num2words(number: int, language: str, form: str) -> str:
    from num2words import num2words  # loads every language it has, 45 ms

    # Its comma after thousands would be spoken as a pause.
    words = str(num2words(number, lang=language, to=form)).replace(",", "")
    for whole, shortened in _BEFORE_THOUSANDS:
        words = words.replace(whole, shortened)
    return words


def counted(amount: int, unit: Unit, language: str) -> str:
    """That many of a thing.

    >>> counted(21, Unit("un segundo", "{} segundos", (("uno", "ún"),)), "es")
    'veintiún segundos'
    """
    return unit.one if amount == 1 else unit.many.format(agreeing(number_words(amount, language), unit))


def agreeing(words: str, unit: Unit) -> str:
    """A number in words as it is before `unit`."""
    for ending, agreed in unit.agreement:
        if words.endswith(ending):
            return words.removesuffix(ending) + agreed
    return words


def time_words(seconds: Fraction, language: Language) -> str:
    """A length of time as a coach calls it, to a tenth below a minute and to a second above.

    >>> from cuetrack.speech.phrases.english import ENGLISH
    >>> [time_words(Fraction(s), ENGLISH) for s in ("10", "60", "90")]
    ['ten seconds', 'one minute', 'one minute thirty']
    >>> [time_words(Fraction(s), ENGLISH) for s in ("5/2", "7.26", "3605")]
    ['two and a half seconds', 'seven point three seconds', 'one hour and five seconds']
    """
    tenths = floor(seconds * 10 + Fraction(1, 2))
    if tenths < 600:
        return _short_time_words(*divmod(tenths, 10), language)
    words = language.time
    minutes, rest = divmod(floor(seconds + Fraction(1, 2)), 60)
    hours, minutes = divmod(minutes, 60)
    if not hours and rest >= 10:
        return f"{counted(minutes, words.minute, language.tag)} {number_words(rest, language.tag)}"
    amounts = ((hours, words.hour), (minutes, words.minute), (rest, words.second))
    return words.joint.join(counted(amount, unit, language.tag) for amount, unit in amounts if amount)


def _short_time_words(whole: int, tenths: int, language: Language) -> str:
    words, tag = language.time, language.tag
    if tenths == 0:
        return counted(whole, words.second, tag)
    if tenths == 5:
        if whole < 2:
            return words.one_and_a_half if whole else words.half_second
        return words.and_a_half.format(agreeing(number_words(whole, tag), words.second))
    return words.tenths.format(number_words(whole, tag), number_words(tenths, tag))
