"""A programme → the same, at its loudness and under its peak: one pass that measures, one that is written.

Loudness: ITU-R BS.1770. The ceiling is that of EBU R 128, for maximum true peak. What the limiter will take
from the loudness is foreseen from the peaks, and made up for by the gain.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.limiter import CEILING_MARGIN_DB, limited
from cuetrack.mix.peaks import PEAK_STEPS_PER_SECOND, StepPeaks, limiter_gains
from cuetrack.mix.programme import Programme, ProgrammeBlock
from cuetrack.sound.meter import STEPS_PER_SECOND, LoudnessMeter
from cuetrack.sound.units import db_to_linear

CEILING_DBTP = -1.0
# What is nearly silence is not blown up. Common practice, no source.
MOST_GAIN_DB = 20.0
# A limiter that has to make up for more flattens what it should only guard. Common practice, no source.
MOST_MADE_UP_DB = 3.0
# A meter shows tenths, and a target is met within one.
_NEAR_LU = 0.1
_HALVINGS = 12
_NO_WEIGHT = 1e-12
# Found by measuring: with 2 the loss is foreseen a little too large, with 1 too small.
_PEAK_WEIGHT = 1.6
_MEETING_STEPS = PEAK_STEPS_PER_SECOND // STEPS_PER_SECOND


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

    gain_db = _gain_for(target_lufs, integrated_lufs, limited_lufs)
    return Loudness(integrated_lufs, range_lu, gain_db, limited_lufs(gain_db), target_lufs)


def _gain_for(target_lufs: float, integrated_lufs: float, limited_lufs: Callable[[float], float]) -> float:
    """The gain at which the limited programme is as loud as the target, or as near to it as it may come."""
    plain_db = min(target_lufs - integrated_lufs, MOST_GAIN_DB)
    low_db, high_db = plain_db, min(plain_db + MOST_MADE_UP_DB, MOST_GAIN_DB)
    if plain_db == MOST_GAIN_DB or limited_lufs(plain_db) >= target_lufs - 0.001:
        return plain_db
    for _ in range(_HALVINGS):
        middle_db = (low_db + high_db) / 2
        if limited_lufs(middle_db) < target_lufs:
            low_db = middle_db
        else:
            high_db = middle_db
    return high_db


def _limited_lufs(meter: LoudnessMeter, peaks: NDArray[np.float32], gain_db: float) -> float:
    """How loud the programme will be under this gain and the limiter."""
    ceiling = db_to_linear(CEILING_DBTP - CEILING_MARGIN_DB - gain_db)
    gains = limiter_gains(peaks, ceiling)
    if gains is None:
        return meter.integrated_lufs() + gain_db
    # Inside a step of the meter the energy lies where the peaks are, and there the limiter is at work.
    weights = np.zeros(meter.steps * _MEETING_STEPS)
    weights[: len(peaks)] = peaks[: len(weights)].astype(np.float64) ** _PEAK_WEIGHT + _NO_WEIGHT
    weighted = weights.copy()
    weighted[: len(gains)] *= np.square(gains[: len(weights)], dtype=np.float64)
    power, weight = (values.reshape(-1, _MEETING_STEPS).sum(axis=1) for values in (weighted, weights))
    return meter.integrated_lufs(np.sqrt(power / np.maximum(weight, _NO_WEIGHT))) + gain_db


def mastered(programme: Programme, gain_db: float) -> Iterator[ProgrammeBlock]:
    """The programme louder by `gain_db`, its true peak held at the ceiling; reads it once more."""
    rate_hz = programme.arrangement.rate_hz
    return limited(programme.blocks(), rate_hz, ceiling_dbtp=CEILING_DBTP, gain_db=gain_db)
