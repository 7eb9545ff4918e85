"""Decibels from and to linear amplitude; each conversion is written here and nowhere else."""

from __future__ import annotations

from math import inf, log10


def db_to_linear(level_db: float) -> float:
    """Amplitude factor of a level; full scale is 1.0, so dBFS gives a sample value.

    >>> db_to_linear(-20.0), db_to_linear(-inf)
    (0.1, 0.0)
    """
    return float(10.0 ** (level_db / 20.0))


def linear_to_db(amplitude: float) -> float:
    """Level of an amplitude of zero or more; zero is minus infinity.

    Raises:
        ValueError: the amplitude is negative, which only a mistake in our own code makes it.

    >>> linear_to_db(0.1), linear_to_db(0.0)
    (-20.0, -inf)
    """
    return 20.0 * log10(amplitude) if amplitude != 0.0 else -inf
