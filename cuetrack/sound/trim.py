"""Where a clip is audible: the silence that a speech engine adds around the words lies outside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cuetrack.sound.units import db_to_linear

if TYPE_CHECKING:
    from numpy.typing import NDArray

_STRETCH_SECONDS = 0.005


def audible_span(
    samples: NDArray[np.float32],
    rate_hz: int,
    threshold_db: float = -50.0,
    *,
    floor_dbfs: float = -70.0,
) -> tuple[int, int]:
    """Half-open range of frames from the first audible sample to the last.

    The threshold lies `threshold_db` from the clip's largest sample, but never below `floor_dbfs`.
    A stretch of 5 ms is audible when its RMS level reaches the threshold: the noise of an engine,
    whose peaks stand well above its RMS level, is then not taken for speech. The range runs from
    the first to the last sample that reaches the threshold inside audible stretches.

    Args:
        samples: float32, shape (frames,). A clip shorter than 5 ms is one stretch.
        rate_hz: rate of the clip.
        threshold_db: level relative to the clip's largest sample; zero or less.
        floor_dbfs: what lies under it is not audible, however quiet the clip.

    Returns:
        (start, end) with start < end; (0, 0) for silence, an empty clip, or one under the floor.
    """
    if not samples.size:
        return 0, 0
    power = samples.astype(np.float64) ** 2
    threshold_linear = max(np.sqrt(power.max()) * db_to_linear(threshold_db), db_to_linear(floor_dbfs))
    stretch = min(samples.size, max(1, round(_STRETCH_SECONDS * rate_hz)))
    energy = np.concatenate(([0.0], np.cumsum(power)))
    mean_power = (energy[stretch:] - energy[:-stretch]) / stretch
    audible = np.flatnonzero(mean_power >= threshold_linear**2)
    if not audible.size:
        return 0, 0
    loud = np.flatnonzero(power >= threshold_linear**2)
    loud = loud[(loud >= audible[0]) & (loud < audible[-1] + stretch)]
    return (int(loud[0]), int(loud[-1]) + 1) if loud.size else (0, 0)
