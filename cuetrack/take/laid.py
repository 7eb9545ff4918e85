"""A programme and where it runs in a recording → a clean track exactly as long as the recording.

Under the picture it takes the place of what the microphone heard: each stretch is played as fast as the
recording's clock ran, by a resampler (soxr); what is not known to be heard is silent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import ceil

import numpy as np
from numpy.typing import NDArray

from cuetrack.take.align import Alignment
from cuetrack.take.line import Line
from cuetrack.take.retimed import whole_span

_BLOCK_FRAMES = 1 << 16

# Frames of the programme from a start on, as many as asked for; shape (frames, channels).
Reader = Callable[[int, int], NDArray[np.float32]]


def laid_blocks(
    alignment: Alignment, read: Reader, programme_rate_hz: int, programme_frames: int, channels: int
) -> Iterator[NDArray[np.float32]]:
    """The track in blocks, shape (frames, channels), together as long as the recording, at its rate."""
    done = 0
    for number, stretch in enumerate(alignment.stretches):
        first, last = whole_span(alignment, number)
        start = max(done, ceil(stretch.line.recording_at(first) * alignment.rate_hz))
        end = min(alignment.frames, ceil(stretch.line.recording_at(last) * alignment.rate_hz))
        if start >= end:
            continue
        yield from _silence(start - done, channels)
        yield from _stretch(
            stretch.line, start, end, alignment.rate_hz, read, programme_rate_hz, programme_frames, channels
        )
        done = end
    yield from _silence(alignment.frames - done, channels)


def _silence(frames: int, channels: int) -> Iterator[NDArray[np.float32]]:
    while frames > 0:
        yield np.zeros((min(frames, _BLOCK_FRAMES), channels), np.float32)
        frames -= _BLOCK_FRAMES


def _stretch(
    line: Line,
    start: int,
    end: int,
    rate_hz: int,
    read: Reader,
    programme_rate_hz: int,
    programme_frames: int,
    channels: int,
) -> Iterator[NDArray[np.float32]]:
    """The frames of the recording from `start` to `end`, resampled from where the line has them.

    The programme is taken from the nearest of its frames on, so it lies right to half a frame.
    """
    import soxr

    now = round(line.programme_at(start / rate_hz) * programme_rate_hz)
    stream = soxr.ResampleStream(
        programme_rate_hz * (1 + line.rate_ppm / 1e6), rate_hz, channels, dtype="float32", quality="VHQ"
    )
    left = end - start
    while left > 0:
        is_last = now >= programme_frames
        frames = max(0, min(_BLOCK_FRAMES, programme_frames - now))
        made = stream.resample_chunk(np.ascontiguousarray(read(now, frames)), last=is_last)
        now += frames
        made = made[:left]
        if len(made):
            yield made
        left -= len(made)
        if is_last and left > 0:
            yield from _silence(left, channels)
            return
