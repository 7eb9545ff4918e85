"""A point in time and a length of time as two types, both exact seconds.

Time stays a `Fraction` until `Instant.to_frame` rounds a *position* once, half up. Lengths in frames
are differences of positions, so rounding never adds up.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import overload


@dataclass(frozen=True, slots=True, order=True)
class Duration:
    """A length of time in exact seconds; may be negative as a difference."""

    seconds: Fraction

    def __add__(self, other: Duration) -> Duration:
        if not isinstance(other, Duration):
            return NotImplemented
        return Duration(self.seconds + other.seconds)

    def __sub__(self, other: Duration) -> Duration:
        if not isinstance(other, Duration):
            return NotImplemented
        return Duration(self.seconds - other.seconds)

    def __mul__(self, factor: int | Fraction) -> Duration:
        return Duration(self.seconds * factor)

    def __neg__(self) -> Duration:
        return Duration(-self.seconds)

    def __bool__(self) -> bool:
        return bool(self.seconds)


@dataclass(frozen=True, slots=True, order=True)
class Instant:
    """A point on the programme axis, in exact seconds from its start."""

    seconds: Fraction

    def __add__(self, length: Duration) -> Instant:
        if not isinstance(length, Duration):
            return NotImplemented
        return Instant(self.seconds + length.seconds)

    @overload
    def __sub__(self, other: Instant) -> Duration: ...
    @overload
    def __sub__(self, other: Duration) -> Instant: ...
    def __sub__(self, other: Instant | Duration) -> Duration | Instant:
        if isinstance(other, Instant):
            return Duration(self.seconds - other.seconds)
        if isinstance(other, Duration):
            return Instant(self.seconds - other.seconds)
        return NotImplemented

    def to_frame(self, rate_hz: int) -> int:
        """Nearest sample frame at `rate_hz`; an exact half goes to the later frame.

        >>> Instant(Fraction("0.625")).to_frame(44_100)  # 27,562.5
        27563
        """
        return floor(self.seconds * rate_hz + Fraction(1, 2))


def frame_seconds(frames: int, rate_hz: int) -> Fraction:
    """Exact seconds from the start to frame `frames` at `rate_hz`."""
    return Fraction(frames, rate_hz)
