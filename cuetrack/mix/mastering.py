"""A programme → the same, at its loudness and under its peak: one pass that measures, one that is written.

Loudness: ITU-R BS.1770. The ceiling is that of EBU R 128, for maximum true peak.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isfinite

from cuetrack.mix.limiter import limited
from cuetrack.mix.programme import Programme, ProgrammeBlock
from cuetrack.sound.meter import LoudnessMeter

CEILING_DBTP = -1.0
# What is nearly silence is not blown up. Common practice, no source.
MOST_GAIN_DB = 20.0


@dataclass(frozen=True, slots=True)
class Loudness:
    """What a programme measures before mastering, and the gain that brings it to its target.

    `integrated_lufs` is minus infinity where nothing passes the meter's gates; it then stays as it is.
    """

    integrated_lufs: float
    range_lu: float
    gain_db: float

    @property
    def mastered_lufs(self) -> float:
        """The loudness after the gain; a limiter that is at work can take a little from it."""
        return self.integrated_lufs + self.gain_db


def measured(
    programme: Programme, target_lufs: float, progress: Callable[[int], None] | None = None
) -> Loudness:
    """The loudness of a programme, and what brings it to `target_lufs`; reads it once."""
    width = programme.width
    meter = LoudnessMeter(programme.arrangement.rate_hz, [programme.channels / width] * width)
    done = 0
    for block in programme.blocks():
        meter.add(block)
        done += len(block)
        if progress is not None:
            progress(done)
    integrated_lufs = meter.integrated_lufs()
    gain_db = min(target_lufs - integrated_lufs, MOST_GAIN_DB) if isfinite(integrated_lufs) else 0.0
    return Loudness(integrated_lufs, meter.loudness_range_lu(), gain_db)


def mastered(programme: Programme, gain_db: float) -> Iterator[ProgrammeBlock]:
    """The programme louder by `gain_db`, its true peak held at the ceiling; reads it once more."""
    rate_hz = programme.arrangement.rate_hz
    return limited(programme.blocks(), rate_hz, ceiling_dbtp=CEILING_DBTP, gain_db=gain_db)
