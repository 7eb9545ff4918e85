"""English: the sentences of every phrase, numbers and times as words.

A template that is one text is spoken as it comes out; a tuple holds sentences, each given its capital
and its full stop, and left out when a slot in it is empty. `[…]` is a piece left out in the same way.
`{slot:number}` and `{slot:time}` say what the slot holds; `{slot:verbatim}` keeps its last full stop.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import floor

_ANNOUNCED = ("{stage}", "{option}", "{setup}", "Equipment: {equipment}")

TEMPLATES: Mapping[str, str | tuple[str, ...]] = {
    "as-written": "{text:verbatim}",
    "number": "{n:number}",
    "go": ("go",),
    "rest": ("rest",),
    "finished": ("finished",),
    "halfway": ("halfway",),
    "time-left": ("{seconds:time}",),
    "change-sides": ("change sides", "{side} side"),
    "stage": ("{stage}",),
    "announce": ("next: {move}[, {side} side]", *_ANNOUNCED),
    "announce-first": ("first: {move}[, {side} side]", *_ANNOUNCED),
}

_SMALL = (
    "zero", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen",
    "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = (
    "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
)  # fmt: skip
_LARGEST = 999_999


def number_words(number: int) -> str:
    """A whole number from 0 to 999,999 in words; anything else in digits.

    >>> number_words(5), number_words(21), number_words(105), number_words(2000)
    ('five', 'twenty-one', 'one hundred and five', 'two thousand')
    """
    if not 0 <= number <= _LARGEST:
        return str(number)
    if number < 20:
        return _SMALL[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens - 2] + (f"-{_SMALL[ones]}" if ones else "")
    unit, name = (100, "hundred") if number < 1000 else (1000, "thousand")
    count, rest = divmod(number, unit)
    joint = " and " if rest < 100 else " "
    return f"{number_words(count)} {name}" + (joint + number_words(rest) if rest else "")


def time_words(seconds: Fraction) -> str:
    """A length of time as a coach calls it, to a tenth below a minute and to a second above.

    >>> time_words(Fraction(10)), time_words(Fraction(60)), time_words(Fraction(90))
    ('ten seconds', 'one minute', 'one minute thirty')
    >>> time_words(Fraction(5, 2)), time_words(Fraction("7.26")), time_words(Fraction(3605))
    ('two and a half seconds', 'seven point three seconds', 'one hour and five seconds')
    """
    tenths = floor(seconds * 10 + Fraction(1, 2))
    if tenths < 600:
        return _short_time_words(*divmod(tenths, 10))
    minutes, rest = divmod(floor(seconds + Fraction(1, 2)), 60)
    hours, minutes = divmod(minutes, 60)
    if not hours and rest >= 10:
        return f"{_counted(minutes, 'minute')} {number_words(rest)}"
    amounts = ((hours, "hour"), (minutes, "minute"), (rest, "second"))
    return " and ".join(_counted(amount, unit) for amount, unit in amounts if amount)


def _short_time_words(whole: int, tenths: int) -> str:
    if tenths == 0:
        return _counted(whole, "second")
    if tenths == 5:
        return f"{number_words(whole)} and a half seconds" if whole else "half a second"
    return f"{number_words(whole)} point {_SMALL[tenths]} seconds"


def _counted(amount: int, unit: str) -> str:
    return f"{number_words(amount)} {unit}" + ("" if amount == 1 else "s")
