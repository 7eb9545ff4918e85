"""Exact time: seconds as `Fraction`, the one rule that makes them frames, and time as text."""

from cuetrack.timebase.exact import Duration, Instant, frame_seconds
from cuetrack.timebase.text import (
    clock_text,
    decimal_text,
    duration_text,
    frame_clock_text,
    parse_duration,
    seconds_text,
)

__all__ = [
    "Duration",
    "Instant",
    "clock_text",
    "decimal_text",
    "duration_text",
    "frame_clock_text",
    "frame_seconds",
    "parse_duration",
    "seconds_text",
]
