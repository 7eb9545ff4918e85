"""What a session may take in all: the limits that a user may set in the environment.

Whatever else bounds a plan stands beside what it bounds; DEVELOPERS.md lists all of them.
"""

from __future__ import annotations

import os
import re
from fractions import Fraction

from cuetrack.errors import UsageError

MOST_HOURS, MOST_GB = "CUETRACK_MOST_HOURS", "CUETRACK_MOST_GB"
# 24 h are the plan language's own limit, so that this one can only be lowered.
_USUAL_HOURS, _LEAST_HOURS = Fraction(24), Fraction(1, 60)
_USUAL_GB, _LEAST_GB, _HIGHEST_GB = Fraction(64), Fraction(1, 1000), Fraction(100_000)
BYTES_PER_GB = 1_000_000_000
_NUMBER = re.compile(r"\d{1,9}(\.\d{1,9})?", re.ASCII)


def most_hours() -> Fraction:
    """How many hours a session may last: `CUETRACK_MOST_HOURS`, or 24.

    Raises:
        UsageError: it is no number, less than a minute or more than 24.
    """
    return _chosen(MOST_HOURS, _USUAL_HOURS, _LEAST_HOURS, _USUAL_HOURS, "0.02 (a minute) to 24, such as 2")


def most_bytes() -> int:
    """What the sound files of one render may take in all: `CUETRACK_MOST_GB` in bytes, or 64 GB.

    Raises:
        UsageError: it is no number, less than 0.001 or more than 100,000.
    """
    allowed = "0.001 to 100000, such as 8"
    return int(_chosen(MOST_GB, _USUAL_GB, _LEAST_GB, _HIGHEST_GB, allowed) * BYTES_PER_GB)


def _chosen(name: str, usual: Fraction, least: Fraction, highest: Fraction, allowed: str) -> Fraction:
    written = os.environ.get(name, "").strip()
    if not written:
        return usual
    if not _NUMBER.fullmatch(written) or not least <= Fraction(written) <= highest:
        raise UsageError(f"{name} is {written[:40]!r} in the environment; set it to {allowed}, or not at all")
    return Fraction(written)
