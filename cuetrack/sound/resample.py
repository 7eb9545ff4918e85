"""A clip at another sample rate, through soxr's best quality."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def resampled(samples: NDArray[np.float32], from_rate_hz: int, to_rate_hz: int) -> NDArray[np.float32]:
    """The clip at `to_rate_hz`; what sounds at a time sounds at the same time afterwards.

    The filter is symmetrical, and its delay is taken off again. A sample may exceed the clip's old
    peak a little: what lay between two samples can become one.

    Args:
        samples: float32, shape (frames,). May be empty.
        from_rate_hz: rate of the clip.
        to_rate_hz: rate asked for.

    Returns:
        float32, shape (frames * to_rate_hz / from_rate_hz,), rounded half up. The clip itself, not
        a copy, when the rates are equal.
    """
    if from_rate_hz == to_rate_hz:
        return samples
    import soxr  # here, because a session without speech never resamples

    converted: NDArray[np.float32] = soxr.resample(samples, from_rate_hz, to_rate_hz, quality="VHQ")
    return converted
