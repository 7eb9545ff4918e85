"""Blocks of samples → the same blocks, and their highest sample: does the mix pass full scale, and where."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from cuetrack.mix.blocks import Samples


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest absolute sample so far, and what lies above full scale (1.0).

    `amplitude` is linear and `frame` the first to reach it; `frames_over` counts the frames above full
    scale and `first_over_frame` is the first of them, None if there is none.
    """

    amplitude: float = 0.0
    frame: int = 0
    frames_over: int = 0
    first_over_frame: int | None = None


class PeakMeter:
    """Reads the blocks of one programme as they pass; each programme needs a meter of its own."""

    def __init__(self) -> None:
        self.peak = Peak()

    def watched(self, blocks: Iterable[Samples]) -> Iterator[Samples]:
        """The same blocks, unchanged; `peak` holds what has passed so far."""
        start = 0
        for block in blocks:
            if len(block):
                self.peak = _with_block(self.peak, block, start)
            start += len(block)
            yield block


def _with_block(peak: Peak, block: Samples, start: int) -> Peak:
    amplitude = max(float(block.max()), -float(block.min()))
    if amplitude <= min(peak.amplitude, 1.0):
        return peak
    magnitudes = np.abs(block)
    over = np.flatnonzero(magnitudes > 1.0)
    higher = amplitude > peak.amplitude
    return Peak(
        amplitude=amplitude if higher else peak.amplitude,
        frame=start + int(magnitudes.argmax()) if higher else peak.frame,
        frames_over=peak.frames_over + len(over),
        first_over_frame=start + int(over[0])
        if len(over) and peak.first_over_frame is None
        else peak.first_over_frame,
    )
