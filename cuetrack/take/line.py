"""Where a programme runs in a recording while nobody touches it: a line from one clock to the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Beyond this a point is taken for something else (Tukey's biweight), by the second pass and by the last.
_REACHES_SECONDS = (0.02, 0.008, 0.004, 0.002, 0.002)


@dataclass(frozen=True, slots=True)
class Line:
    """Programme time = programme + (recording time - recording) * (1 + rate_ppm / 10**6), in seconds."""

    recording_seconds: float
    programme_seconds: float
    rate_ppm: float = 0.0

    def programme_at(self, recording_seconds: float) -> float:
        """The time in the programme."""
        return self.programme_seconds + (recording_seconds - self.recording_seconds) * self._rate

    def recording_at(self, programme_seconds: float) -> float:
        """The time in the recording."""
        return self.recording_seconds + (programme_seconds - self.programme_seconds) / self._rate

    @property
    def _rate(self) -> float:
        return 1 + self.rate_ppm / 1e6

    def later_by(self, seconds: float) -> Line:
        """The same with everything heard later in the recording."""
        return Line(self.recording_seconds + seconds, self.programme_seconds, self.rate_ppm)

    def through(self, programme_seconds: float) -> Line:
        """The same line, given by another of its points."""
        return Line(self.recording_at(programme_seconds), programme_seconds, self.rate_ppm)

    def corrected(self, at_seconds: NDArray[np.float64], late: float, slope: float) -> Line:
        """The line after everything was found later by `late`, at the mean of `at_seconds`, and by a slope.

        `at_seconds` are times of the programme; `slope` is in seconds later a second of the programme.
        """
        middle = float(at_seconds.mean())
        per_second = 1 / self._rate + slope
        return Line(self.recording_at(middle) + late, middle, (1 / per_second - 1) * 1e6)


def first_line(
    recording_seconds: NDArray[np.float64], programme_seconds: NDArray[np.float64], most_drift: float
) -> Line:
    """The line through pairs of times of which some are wrong: the median of all slopes (Theil and Sen).

    Pairs close together say nothing about the slope; where there are no others it is taken for 1.
    """
    apart = recording_seconds[:, np.newaxis] - recording_seconds[np.newaxis]
    late = (programme_seconds - recording_seconds)[:, np.newaxis] - (programme_seconds - recording_seconds)
    far = apart > max(60.0, 0.3 * float(np.ptp(recording_seconds)))
    drift = float(np.median(late[far] / apart[far])) if far.any() else 0.0
    drift = min(most_drift, max(-most_drift, drift))
    middle = float(np.median(recording_seconds))
    offsets = programme_seconds - recording_seconds - drift * (recording_seconds - middle)
    return Line(middle, middle + float(np.median(offsets)), drift * 1e6)


def robust_fit(
    at_seconds: NDArray[np.float64],
    late_seconds: NDArray[np.float64],
    weights: NDArray[np.float64],
) -> tuple[float, float]:
    """How late points are, at the mean of `at_seconds`, and by how much more a second; outliers left out."""
    from_middle = at_seconds - at_seconds.mean()
    late, slope = _weighted_median(late_seconds, weights), 0.0
    for reach in _REACHES_SECONDS:
        off = (late_seconds - late - slope * from_middle) / (3 * reach)
        kept = weights * np.where(np.abs(off) < 1, (1 - off**2) ** 2, 0.0)
        if not kept.any():
            break
        if np.count_nonzero(kept) > 2:
            mean_at = float(np.average(from_middle, weights=kept))
            centred = from_middle - mean_at
            spread = float(np.dot(kept, centred**2))
            mean_late = float(np.average(late_seconds, weights=kept))
            slope = float(np.dot(kept, centred * (late_seconds - mean_late))) / spread if spread else 0.0
            late = mean_late - slope * mean_at
        else:
            late = float(np.average(late_seconds - slope * from_middle, weights=kept))
    return late, slope


def _weighted_median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    return float(values[order][int(np.searchsorted(summed, summed[-1] / 2))])
