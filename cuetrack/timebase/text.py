"""Time as text: what a coach writes, read into exact seconds, and written back.

Read: `30s`, `0.5 s`, `1:30`, `1:00:00`, `2 min`, `1 min 30 s`, `1 h`, `250 ms`, `72/8.5 s`.
"""

from __future__ import annotations

import re
from fractions import Fraction

from cuetrack.errors import TimeError
from cuetrack.timebase.exact import Duration, Instant, frame_seconds

_SECONDS_IN: dict[str, int | Fraction] = {
    "h": 3600,
    "hour": 3600,
    "hours": 3600,
    "min": 60,
    "minute": 60,
    "minutes": 60,
    "s": 1,
    "sec": 1,
    "second": 1,
    "seconds": 1,
    "ms": Fraction(1, 1000),
}
_NUMBER = r"\d{1,18}(?:\.\d{1,9})?"
_AMOUNT = re.compile(rf"({_NUMBER})(?:/({_NUMBER}))?\s*([a-z]+)\s*", re.ASCII)
_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,3}):(\d{2}(?:\.\d{1,9})?)", re.ASCII)

TIME_EXAMPLES = "30s, 1:30, 2 min or 1 min 30 s"


def parse_duration(text: str) -> Duration:
    """The length that `text` names, never negative.

    Raises:
        TimeError: the text is no time; its hint says what would be.

    >>> parse_duration("1 min 30 s").seconds
    Fraction(90, 1)
    >>> parse_duration("72/8.5 s").seconds
    Fraction(144, 17)
    """
    stripped = text.strip()
    clock = _CLOCK.fullmatch(stripped)
    if clock:
        hours, minutes, seconds = int(clock[1] or 0), int(clock[2]), Fraction(clock[3])
        if seconds >= 60 or (clock[1] is not None and minutes >= 60):
            too_many = "seconds" if seconds >= 60 else "minutes behind hours"
            raise TimeError(f"{text!r} is not a clock time", f"{too_many} go from 00 to 59")
        return Duration(hours * 3600 + minutes * 60 + seconds)
    if re.fullmatch(_NUMBER, stripped, re.ASCII):
        raise TimeError(f"{text!r} is a time without a unit", f"write {stripped}s or {stripped} min")
    if re.match(r"[-−]\s*\d", stripped):
        raise TimeError(f"{text!r} is negative", f"a time is zero or more: {TIME_EXAMPLES}")
    return _summed_amounts(stripped, text)


def _summed_amounts(stripped: str, text: str) -> Duration:
    total = Fraction(0)
    position = 0
    units: list[Fraction | int] = []
    while position < len(stripped):
        amount = _AMOUNT.match(stripped, position)
        if amount is None or amount[3] not in _SECONDS_IN:
            break
        unit = _SECONDS_IN[amount[3]]
        divisor = Fraction(amount[2] or 1)
        if divisor == 0:
            raise TimeError(f"{text!r} divides by zero", f"write a time like {TIME_EXAMPLES}")
        total += Fraction(amount[1]) / divisor * unit
        units.append(unit)
        position = amount.end()
    if not units or position < len(stripped) or sorted(set(units), reverse=True) != units:
        raise TimeError(f"{text!r} is not a time", _spelling_hint(stripped))
    return Duration(total)


def _spelling_hint(text: str) -> str:
    """What `text`, which is no time, was probably meant to be."""
    if re.search(r"\d,\d", text):
        return f"write a full stop: {text.replace(',', '.')[:40]}"
    if re.search(r"\d\s*[a-z]*\s*[-–]\s*\d", text):
        return "a range is written with two dots: 20s..30s"
    minutes = re.fullmatch(rf"({_NUMBER})\s*m", text, re.ASCII)
    if minutes:
        return f"write {minutes[1]} min"
    words = re.findall(r"[a-zA-Z]+", text)
    if text != text.lower() and words and all(word.lower() in _SECONDS_IN for word in words):
        return f"write units in small letters: {text.lower()[:40]}"
    return f"write a time like {TIME_EXAMPLES}"


def duration_text(length: Duration) -> str:
    """`length` as a plan would write it, exact.

    >>> duration_text(Duration(Fraction(90))), duration_text(Duration(Fraction("0.625")))
    ('1 min 30 s', '0.625 s')
    >>> duration_text(Duration(Fraction(144, 17)))
    '144/17 s'
    """
    seconds = length.seconds
    if seconds.denominator == 1 and seconds >= 60:
        minutes, rest = divmod(int(seconds), 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{decimal_text(seconds)} s"


def decimal_text(value: Fraction) -> str:
    """A decimal if one is exact within nine places, else a fraction."""
    scaled = value * 10**9
    if scaled.denominator != 1:
        return f"{value.numerator}/{value.denominator}"
    whole, nanos = divmod(abs(int(scaled)), 10**9)
    sign = "-" if value < 0 else ""
    return f"{sign}{whole}.{nanos:09d}".rstrip("0").rstrip(".")


def seconds_text(seconds: Fraction) -> str:
    """Seconds for a message, to a tenth, rounded up so that what is asked for is enough.

    >>> seconds_text(Fraction("4.21")), seconds_text(Fraction(3))
    ('4.3 s', '3 s')
    """
    tenths = -(-seconds * 10 // 1)
    return f"{decimal_text(Fraction(tenths, 10))} s"


def frame_clock_text(frame: int, rate_hz: int, decimals: int = 0) -> str:
    """The clock reading of a frame, or of a length in frames; see `clock_text`.

    >>> frame_clock_text(72_000, 48_000, 1)
    '0:01.5'
    """
    return clock_text(Instant(frame_seconds(frame, rate_hz)), decimals)


def clock_text(instant: Instant, decimals: int = 0) -> str:
    """A clock reading, `m:ss` or `h:mm:ss`, cut (not rounded) to `decimals` places.

    >>> clock_text(Instant(Fraction("754.96"))), clock_text(Instant(Fraction(3600)), 1)
    ('12:34', '1:00:00.0')
    """
    units = int(instant.seconds * 10**decimals)
    whole, part = divmod(units, 10**decimals)
    hours, rest = divmod(whole, 3600)
    minutes, seconds = divmod(rest, 60)
    head = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    tail = f".{part:0{decimals}d}" if decimals else ""
    return f"{head}:{seconds:02d}{tail}"
