"""Frames → milliseconds, and their text in captions and chapters. Each position is rounded once, half up."""

from __future__ import annotations

from fractions import Fraction
from math import floor

from cuetrack.timebase import frame_seconds


def frame_milliseconds(frame: int, rate_hz: int) -> int:
    """The millisecond nearest to a frame; an exact half goes to the later one.

    >>> frame_milliseconds(24, 48_000), frame_milliseconds(23, 48_000)
    (1, 0)
    """
    return floor(frame_seconds(frame, rate_hz) * 1000 + Fraction(1, 2))


def stamp_text(milliseconds: int, separator: str = ".") -> str:
    """HH:MM:SS.mmm, as WebVTT and Xiph chapters have it; SRT has a comma.

    >>> stamp_text(3_723_004)
    '01:02:03.004'
    """
    seconds, thousandths = divmod(milliseconds, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}{separator}{thousandths:03}"
