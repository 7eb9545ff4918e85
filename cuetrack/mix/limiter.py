"""Blocks → the same, louder or softer by one gain, with no true peak above a ceiling.

A look-ahead limiter without delay: where a peak would pass the ceiling, the gain of all channels goes
down before it and comes back after it, each in a ramp of `RAMP_SECONDS`. Elsewhere the gain is exact
and silence stays silence. The work is done in stretches counted from the first frame, so the lengths
of the blocks change no sample.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.blocks import on_each_channel, regrouped
from cuetrack.sound.true_peak import REACH_FRAMES, can_pass, peaks_above
from cuetrack.sound.units import db_to_linear

# The whole way down before a peak, and the whole way back after it. Peaks that lie closer together are held
# down by one steady gain, so the lowest bass note keeps its wave. Common practice, no source.
RAMP_SECONDS = 0.04
_STRETCH_FRAMES = 16_384
# Interpolation here and in another meter differ a little, and so does a gain that changes between samples.
CEILING_MARGIN_DB = 0.1

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Samples with their gain, shape (frames, width), and the gain each frame still needs; None for all 1."""

    samples: NDArray[np.float32]
    needed: NDArray[np.float64] | None


def limited(
    blocks: Iterable[NDArray[np.float32]], rate_hz: int, *, ceiling_dbtp: float, gain_db: float = 0.0
) -> Iterator[NDArray[np.float32]]:
    """The blocks, louder by `gain_db` and limited; of other lengths than they came.

    Args:
        blocks: float32, shape (frames, width), all of one width.
        rate_hz: of the programme; up to 192,000.
        ceiling_dbtp: no true peak passes it, as BS.1770 reads them: four times oversampled.
        gain_db: of everything.
    """
    gain, ceiling = np.float32(db_to_linear(gain_db)), db_to_linear(ceiling_dbtp - CEILING_MARGIN_DB)
    louder = (stretch * gain if stretch.any() else stretch for stretch in regrouped(blocks, _STRETCH_FRAMES))
    half_ramp = min(round(RAMP_SECONDS / 2 * rate_hz), _STRETCH_FRAMES // 2)
    needing = (
        _Stretch(this, _needed(before, this, after, ceiling))
        for before, this, after in _with_neighbours(louder)
    )
    for before, this, after in _with_neighbours(needing):
        yield _turned_down(before, this, after, half_ramp)


def _with_neighbours(items: Iterable[_T]) -> Iterator[tuple[_T | None, _T, _T | None]]:
    before: _T | None = None
    this: _T | None = None
    for after in chain(items, [None]):
        if this is not None:
            yield before, this, after
        before, this = this, after


def _needed(
    before: NDArray[np.float32] | None,
    this: NDArray[np.float32],
    after: NDArray[np.float32] | None,
    ceiling: float,
) -> NDArray[np.float64] | None:
    """The gain that brings each frame's peak down to the ceiling, 1 where it is below; None if all are.

    What rings before the programme counts for its first frame, what rings after it for its last.
    """
    nothing = np.zeros((2 * REACH_FRAMES, this.shape[1]), np.float32)
    head = nothing if before is None else before[-REACH_FRAMES:]
    tail = nothing if after is None else np.concatenate([after[:REACH_FRAMES], nothing])[:REACH_FRAMES]
    around = np.concatenate([head, this, tail])
    if not can_pass(around, ceiling):
        return None
    found = [
        peaks
        for channel in np.ascontiguousarray(around.T)
        if (peaks := peaks_above(channel, ceiling)) is not None
    ]
    if not found:
        return None
    peaks = np.maximum.reduce(found).astype(np.float64)
    first = len(head) - REACH_FRAMES
    last = first + len(this) - 1
    peaks[first], peaks[last] = peaks[: first + 1].max(), peaks[last:].max()
    return np.asarray(ceiling / np.maximum(peaks[first : last + 1], ceiling), np.float64)


def _turned_down(
    before: _Stretch | None, this: _Stretch, after: _Stretch | None, half_ramp: int
) -> NDArray[np.float32]:
    """The samples of `this` under the gain that it and its neighbours need."""
    if all(stretch is None or stretch.needed is None for stretch in (before, this, after)):
        return this.samples
    reach, frames = 2 * half_ramp, len(this.samples)
    needed = np.ones(frames + 2 * reach)
    if before is not None and before.needed is not None:
        # The stretch before is always full, and longer than the reach.
        needed[:reach] = before.needed[-reach:]
    if this.needed is not None:
        needed[reach : reach + frames] = this.needed
    if after is not None and after.needed is not None:
        known = after.needed[:reach]
        needed[reach + frames : reach + frames + len(known)] = known
    gain = _smoothed(needed, half_ramp)
    return on_each_channel(np.multiply, this.samples, gain)


def _smoothed(needed: NDArray[np.float64], half_ramp: int) -> NDArray[np.float64]:
    """A gain without corners, never above what is needed; shorter by 4 half ramps.

    The lowest of every 2 half_ramp + 1, and of those the mean under a triangle just as wide: every mean
    holds only values that the frame in its middle allows. What the sums round is a millionth of what a
    float32 sample rounds, so a gain of 1 changes none.
    """
    lowest = _running_min(needed, 2 * half_ramp + 1)
    return _running_mean(_running_mean(lowest, half_ramp + 1), half_ramp + 1)


def _running_min(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """The lowest of each `width` neighbours, by doubling; shorter by width - 1."""
    lowest, covered = values, 1
    while covered < width:
        step = min(covered, width - covered)
        lowest = np.minimum(lowest[:-step], lowest[step:])
        covered += step
    return lowest


def _running_mean(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    sums = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray((sums[width:] - sums[:-width]) / width, np.float64)
