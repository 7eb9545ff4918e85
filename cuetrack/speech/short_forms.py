"""A language's table of short forms → one search for all of them, and the words each stands for.

Where numbers, units and signs may stand is the same in every language; the words come from the table.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from cuetrack.speech.lexicons.table import Lexicon
from cuetrack.speech.phrases.language import Unit
from cuetrack.speech.phrases.numbers import agreeing, counted, number_words, ordinal_words, time_words

# What touches one of these is part of a word, a date, an amount of money or a longer number, which are
# left to the engine.
_BEFORE = r"(?<![\w.,:/\-–−$€£'’])"
_AFTER = r"(?!\w|[.,:/–-][0-9]|[:$€£])"
_WORD_AFTER = r"(?![\w\u0300-\u036f])"
# The full stop of "30 sec. hold"; before a capital it may end the sentence, and stays.
_ABBREVIATING_STOP = r"(?:\.(?=\s+[^\W\dA-ZÄÖÜÉÈÀ_]))?"
_T = TypeVar("_T")
_TENTHS = {"½": "5", "¼": "25", "¾": "75"}


def alternatives(forms: Iterable[str]) -> str:
    """A pattern for any of `forms` as a whole word, the longest first; those in lower case in any case."""
    return "|".join(
        (r"(?<!\w)" if _in_word(form[0]) else "")
        + (f"(?i:{re.escape(form)})" if form == form.lower() else re.escape(form))
        + (_WORD_AFTER if _in_word(form[-1]) else "")
        for form in sorted(forms, key=lambda form: (-len(form), form))
    )


def entry(table: Mapping[str, _T], written: str) -> _T | None:
    """What `written` stands for in a table that `alternatives` searches for, if anything."""
    folded = written.casefold()
    if written in table:
        return table[written]
    return next(
        (found for form, found in table.items() if form == form.lower() and form.casefold() == folded),
        None,
    )


def _in_word(character: str) -> bool:
    return character.isalnum() or character == "_"


@dataclass(frozen=True, slots=True)
class ShortForms:
    """The compiled table of a language."""

    lexicon: Lexicon
    pattern: re.Pattern[str]

    def spoken(self, text: str) -> str:
        """`text` with every short form in words; spaces around them may be doubled."""
        return self.pattern.sub(self._words, text)

    def _words(self, match: re.Match[str]) -> str:
        words = _SPOKEN_BY_GROUP[match.lastgroup or ""](self.lexicon, match)
        text, start, end = match.string, match.start(), match.end()
        before, after = text[start - 1 : start], text[end : end + 1]
        return " " * before.isalnum() + words + " " * after.isalnum()


def compiled(lexicon: Lexicon) -> ShortForms:
    """The search for a language's short forms; costs some 40 ms."""
    marks, times = re.escape(lexicon.decimal_marks), r"[x×*]"
    one = rf"(?!0[0-9])[0-9]{{1,3}}(?:[{marks}][0-9]{{1,2}}(?![0-9]))?(?:\s?[½¼¾])?"
    unit = rf"\s?(?:{_unit_pattern(lexicon)})"
    dot = r"(?!\.\s+\w)" if lexicon.ordinal_dot else ""
    amount = rf"{one}(?:\s?(?:[-–]|\.\.)\s?{one})?"
    parts = {
        "clock": rf"\b(?i:{_any(lexicon.clock_before)})\s+[0-9]{{1,2}}[:.][0-9]{{2}}(?![0-9:])"
        rf"|{_BEFORE}[0-9]{{1,2}}[:.][0-9]{{2}}\s?(?:{_any(lexicon.clock_after)})(?!\w)",
        "word": alternatives(lexicon.words),
        "first": rf"(?<![\w.])(?:{_any(lexicon.first)})(?!\w)" if lexicon.first else r"(?!)",
        "time": rf"{_BEFORE}[0-9]{{1,2}}(?::[0-5][0-9]){{1,2}}(?:\s?(?:min|h)\b)?(?![\w:/]|[.,][0-9])"
        rf"|{_BEFORE}[0-9]{{1,2}}(?:\s?min\s?|['′])[0-5][0-9](?:''|″|\s?s(?:e[ck]|eg)?\b)?{_AFTER}",
        "rounds": rf"\b(?i:{_any(lexicon.counted)})\s+[0-9]{{1,2}}/[0-9]{{1,2}}(?![\w/]|[.,][0-9])",
        "sets": rf"{_BEFORE}[0-9]{{1,2}}\s*{times}\s*{amount}(?:{unit}|{_AFTER})(?!\s*{times}\s*[0-9])",
        "ladder": rf"{_BEFORE}[0-9]{{1,3}}(?:[-–][0-9]{{1,3}}){{2,}}{_AFTER}",
        "slash": rf"{_BEFORE}[0-9]{{1,3}}/[0-9]{{1,3}}{_AFTER}|(?<![0-9])(?<![0-9]\s)[½¼¾⅓⅔]",
        "ordinal": rf"{_BEFORE}[0-9]{{1,3}}(?:{_any(lexicon.ordinals)})(?!\w)",
        "round": rf"(?<!\w)(?:{_any(lexicon.round_marks)})\s?[0-9]{{1,2}}{_AFTER}",
        "number": rf"(?<!\w)(?i:{_any(lexicon.number_marks)})\s?[0-9]{{1,3}}{_AFTER}",
        "times": rf"{_BEFORE}[0-9]{{1,3}}\s?{times}(?!\w)|(?<!\w){times}\s?[0-9]{{1,3}}{_AFTER}",
        "quantity": rf"{_BEFORE}{amount}(?:{unit}|{_AFTER}{dot})",
    }
    return ShortForms(lexicon, re.compile("|".join(f"(?P<{name}>{part})" for name, part in parts.items())))


def _any(forms: Iterable[str]) -> str:
    return "|".join(re.escape(form) for form in sorted(forms, key=lambda form: (-len(form), form)))


def _unit_pattern(lexicon: Lexicon) -> str:
    """Units of one letter only as written; the others in any case."""
    return "|".join(
        (re.escape(unit) if len(unit) == 1 else f"(?i:{re.escape(unit)})")
        + (f"{_WORD_AFTER}{_ABBREVIATING_STOP}" if _in_word(unit[-1]) else "")
        for unit in sorted(lexicon.units, key=lambda unit: (-len(unit), unit))
    )


def _as_written(_lexicon: Lexicon, match: re.Match[str]) -> str:
    return match[0]


def _word(lexicon: Lexicon, match: re.Match[str]) -> str:
    return entry(lexicon.words, match[0]) or match[0]


def _first(lexicon: Lexicon, match: re.Match[str]) -> str:
    return lexicon.first[match[0]]


def _time(lexicon: Lexicon, match: re.Match[str]) -> str:
    seconds = 0
    for digits in re.findall("[0-9]+", match[0]):
        seconds = seconds * 60 + int(digits)
    return time_words(Fraction(seconds), lexicon.language)


def _rounds(lexicon: Lexicon, match: re.Match[str]) -> str:
    noun, numbers = match[0].rsplit(maxsplit=1)
    return f"{noun} {lexicon.of.format(*_numbers(lexicon, numbers))}"


def _sets(lexicon: Lexicon, match: re.Match[str]) -> str:
    sets, reps = re.split(r"\s*[x×*]\s*", match[0], maxsplit=1)
    return lexicon.sets_of.format(
        counted(int(sets), lexicon.sets, lexicon.language.tag), _quantity_words(lexicon, reps, "")
    )


def _ladder(lexicon: Lexicon, match: re.Match[str]) -> str:
    return ", ".join(_numbers(lexicon, match[0]))


def _slash(lexicon: Lexicon, match: re.Match[str]) -> str:
    if match[0] in lexicon.fractions:
        return lexicon.fractions[match[0]]
    part, whole = map(int, match[0].split("/"))
    return lexicon.of.format(*_numbers(lexicon, match[0])) if part < whole else _ladder(lexicon, match)


def _ordinal(lexicon: Lexicon, match: re.Match[str]) -> str:
    (digits,) = re.findall("[0-9]+", match[0])
    if int(digits) == 0:
        return match[0]
    words = ordinal_words(int(digits), lexicon.language.tag)
    ending = lexicon.ordinals[match[0].removeprefix(digits)]
    if ending is None:
        return words
    return " ".join(word[:-1] + ending if word[-1] == "o" else word + ending for word in words.split())


def _round(lexicon: Lexicon, match: re.Match[str]) -> str:
    return lexicon.round.format(*_numbers(lexicon, match[0]))


def _number(lexicon: Lexicon, match: re.Match[str]) -> str:
    return lexicon.number.format(*_numbers(lexicon, match[0]))


def _times(lexicon: Lexicon, match: re.Match[str]) -> str:
    (digits,) = re.findall("[0-9]+", match[0])
    return counted(int(digits), lexicon.times, lexicon.language.tag)


def _quantity(lexicon: Lexicon, match: re.Match[str]) -> str:
    return _quantity_words(lexicon, match[0], match.string[match.end() : match.end() + _LONGEST_NOUN])


def _numbers(lexicon: Lexicon, text: str) -> tuple[str, ...]:
    return tuple(number_words(int(n), lexicon.language.tag) for n in re.findall("[0-9]+", text))


_LONGEST_NOUN = 40
_AMOUNT = re.compile(r"([0-9]+)(?:([.,])([0-9]+))?\s?([½¼¾]?)")


def _quantity_words(lexicon: Lexicon, text: str, following: str) -> str:
    """A number or a range with its unit, if any; `following` is what it stands before."""
    low, *others = _AMOUNT.finditer(text)
    high = others[0] if others else None
    written = text[(high or low).end() :].strip()
    unit = _unit(lexicon, written)
    agreement = unit or Unit("", "", _agreement(lexicon, following))
    words = _amount_words(lexicon, low, agreement, with_unit=unit is not None)
    if high is not None:
        more = _amount_words(lexicon, high, agreement, with_unit=unit is not None)
        words = lexicon.range.format(words, more) if _value(low) < _value(high) else f"{words}, {more}"
    if unit is None:
        return f"{words} {written}".rstrip()
    is_one = high is None and low[0].strip() in {"1", "01"}
    return unit.one if is_one else unit.many.format(words)


def _value(amount: re.Match[str]) -> Fraction:
    fraction = _TENTHS.get(amount[4], "0")
    return Fraction(f"{amount[1]}.{amount[3] or 0}") + Fraction(f"0.{fraction}")


def _amount_words(lexicon: Lexicon, amount: re.Match[str], unit: Unit, *, with_unit: bool) -> str:
    tag = lexicon.language.tag
    whole, tenths = number_words(int(amount[1]), tag), amount[3] or ""
    is_half = amount[4] == "½" and not tenths
    if (is_half and not with_unit) or (
        lexicon.half_before_unit and (is_half or (with_unit and tenths == "5"))
    ):
        return lexicon.and_a_half.format(agreeing(whole, _EIN))
    tenths += _TENTHS.get(amount[4], "")
    if not tenths:
        return agreeing(whole, unit)
    digits = " ".join(number_words(int(digit), tag) for digit in tenths)
    return lexicon.decimal.format(whole, digits)


# "eins" loses its s before "einhalb"; no other language's number ends so.
_EIN = Unit("", "", (("eins", "ein"),))


def _unit(lexicon: Lexicon, form: str) -> Unit | None:
    for spelling in (form, form.removesuffix(".")):
        folded = spelling.casefold()
        for unit, words in lexicon.units.items():
            if unit == spelling or (len(unit) > 1 and unit.casefold() == folded):
                return words
    return None


def _agreement(lexicon: Lexicon, following: str) -> tuple[tuple[str, str], ...]:
    if following[:1] == " ":
        for noun, agreement in lexicon.nouns:
            if re.match(noun, following[1:]):
                return agreement
    return ()


_SPOKEN_BY_GROUP: dict[str, Callable[[Lexicon, re.Match[str]], str]] = {
    "clock": _as_written,
    "word": _word,
    "first": _first,
    "time": _time,
    "rounds": _rounds,
    "sets": _sets,
    "ladder": _ladder,
    "slash": _slash,
    "ordinal": _ordinal,
    "round": _round,
    "number": _number,
    "times": _times,
    "quantity": _quantity,
}
