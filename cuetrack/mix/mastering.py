"""A programme → the same, at its loudness and under its peak: one pass that measures, one that is written.

Loudness: ITU-R BS.1770. The ceiling is that of EBU R 128, for maximum true peak. What the limiter will take
from the loudness is foreseen from the peaks, and made up for by the gain.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isfinite

from cuetrack.mix.limiter import CEILING_MARGIN_DB, limited
from cuetrack.mix.peaks import Peaks, StepPeaks, limiter_gains
from cuetrack.mix.programme import Programme, ProgrammeBlock
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.sound.units import db_to_linear, linear_to_db

CEILING_DBTP = -1.0
# What is nearly silence is not blown up. Common practice, no source.
MOST_GAIN_DB = 20.0
# A limiter that takes more from the loudness flattens what it should only guard. Common practice, no source.
MOST_TAKEN_LU = 3.0
# A meter shows tenths, and a target is met within one.
_NEAR_LU = 0.1
# So little is no reason for another gain.
_NOTHING_LU = 0.001
_HALVINGS = 16


@dataclass(frozen=True, slots=True)
class Loudness:
    """What a programme measures before mastering, the gain that is given, and what it measures after.

    `integrated_lufs` is minus infinity where nothing passes the meter's gates; it then stays as it is.
    """

    integrated_lufs: float
    range_lu: float
    gain_db: float
    mastered_lufs: float
    target_lufs: float

    @property
    def misses_target(self) -> bool:
        """Whether the target could not be reached."""
        return isfinite(self.mastered_lufs) and self.mastered_lufs < self.target_lufs - _NEAR_LU


def measured(
    programme: Programme, target_lufs: float, progress: Callable[[int], None] | None = None
) -> Loudness:
    """The loudness of a programme, and what brings it to `target_lufs`; reads it once."""
    width, rate_hz = programme.width, programme.arrangement.rate_hz
    meter, peaks = LoudnessMeter(rate_hz, [programme.channels / width] * width), StepPeaks(rate_hz)
    done = 0
    for block in programme.blocks():
        meter.add(block)
        peaks.add(block)
        done += len(block)
        if progress is not None:
            progress(done)
    integrated_lufs, range_lu = meter.integrated_lufs(), meter.loudness_range_lu()
    if not isfinite(integrated_lufs):
        return Loudness(integrated_lufs, range_lu, 0.0, integrated_lufs, target_lufs)
    found = peaks.found()

    def limited_lufs(gain_db: float) -> float:
        return _limited_lufs(meter, found, gain_db)

    gain_db = _gain_for(target_lufs, integrated_lufs, linear_to_db(float(found.max())), limited_lufs)
    return Loudness(integrated_lufs, range_lu, gain_db, limited_lufs(gain_db), target_lufs)


def _gain_for(
    target_lufs: float, integrated_lufs: float, peak_dbfs: float, limited_lufs: Callable[[float], float]
) -> float:
    """The gain at which the limited programme is as loud as the target, or as near to it as it may come."""

    def is_enough(gain_db: float) -> bool:
        after_lufs = limited_lufs(gain_db)
        taken_lu = integrated_lufs + gain_db - after_lufs
        return after_lufs >= target_lufs - _NOTHING_LU or taken_lu >= MOST_TAKEN_LU

    plain_db = min(target_lufs - integrated_lufs, MOST_GAIN_DB)
    if limited_lufs(plain_db) >= target_lufs - _NOTHING_LU:
        return plain_db
    # Nothing is taken before the highest peak touches the ceiling.
    low_db = min(plain_db, CEILING_DBTP - CEILING_MARGIN_DB - peak_dbfs)
    high_db = min(plain_db + MOST_TAKEN_LU, MOST_GAIN_DB)
    for _ in range(_HALVINGS):
        middle_db = (low_db + high_db) / 2
        low_db, high_db = (low_db, middle_db) if is_enough(middle_db) else (middle_db, high_db)
    return high_db


def _limited_lufs(meter: LoudnessMeter, peaks: Peaks, gain_db: float) -> float:
    """How loud the programme will be under this gain and the limiter."""
    ceiling = db_to_linear(CEILING_DBTP - CEILING_MARGIN_DB - gain_db)
    return meter.integrated_lufs(limiter_gains(peaks, ceiling, meter.steps)) + gain_db


def mastered(programme: Programme, gain_db: float) -> Iterator[ProgrammeBlock]:
    """The programme louder by `gain_db`, its true peak held at the ceiling; reads it once more."""
    rate_hz = programme.arrangement.rate_hz
    return limited(programme.blocks(), rate_hz, ceiling_dbtp=CEILING_DBTP, gain_db=gain_db)
