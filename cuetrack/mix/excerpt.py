"""A programme's blocks and some stretches of it → those one after the other, a soft tone between them.

Inside a stretch every sample is the programme's own. What is skipped is faded, so that no edge clicks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from cuetrack.conform.stretches import Stretch
from cuetrack.sound.tones import tone_samples

_MARKER_TONE = "call-soft"
# Before and after the tone; and what is heard of the skipped music at each edge. Common practice, no source.
_PAUSE_SECONDS, _FADE_SECONDS = 0.1, 0.02

Blocks = Iterator[NDArray[np.float32]]


def excerpt(
    blocks: Iterable[NDArray[np.float32]],
    stretches: Sequence[Stretch],
    *,
    rate_hz: int,
    frames: int,
    width: int,
) -> Blocks:
    """The stretches in order, with fades outside them and a tone between; `excerpt_starts` says where.

    Args:
        blocks: the programme, float32, shape (frames, width), of any lengths.
        stretches: in order; at least twice a fade lies between two of them.
        rate_hz: of the programme.
        frames: its length.
        width: its channels.
    """
    programme, marker, fade = _Programme(blocks, width), _marker(rate_hz), _fade_frames(rate_hz)
    down = np.linspace(1, 0, fade, endpoint=False, dtype=np.float32)[:, np.newaxis]
    for index, stretch in enumerate(stretches):
        before = programme.whole(max(0, stretch.start_frame - fade), stretch.start_frame)
        yield before * down[::-1][fade - len(before) :]
        yield from programme.between(stretch.start_frame, stretch.end_frame)
        after = programme.whole(stretch.end_frame, min(frames, stretch.end_frame + fade))
        yield after * down[: len(after)]
        if index + 1 < len(stretches):
            yield np.repeat(marker[:, np.newaxis], width, axis=1)


def excerpt_starts(stretches: Sequence[Stretch], rate_hz: int, frames: int) -> tuple[tuple[int, ...], int]:
    """The frame of the excerpt on which each stretch begins, and the excerpt's length."""
    marker, fade = len(_marker(rate_hz)), _fade_frames(rate_hz)
    starts, now = [], 0
    for stretch in stretches:
        now += min(fade, stretch.start_frame)
        starts.append(now)
        now += stretch.frames + min(fade, frames - stretch.end_frame) + marker
    return tuple(starts), now - marker if stretches else 0


def _fade_frames(rate_hz: int) -> int:
    return round(_FADE_SECONDS * rate_hz)


def _marker(rate_hz: int) -> NDArray[np.float32]:
    pause = np.zeros(round(_PAUSE_SECONDS * rate_hz), np.float32)
    return np.concatenate([pause, tone_samples(_MARKER_TONE, rate_hz), pause])


class _Programme:
    """Blocks that are read once, from the first frame to the last, and in between passed over."""

    def __init__(self, blocks: Iterable[NDArray[np.float32]], width: int) -> None:
        self._blocks, self._width = iter(blocks), width
        self._block: NDArray[np.float32] | None = None
        self._start = 0

    def between(self, start_frame: int, end_frame: int) -> Blocks:
        """The frames from `start_frame` to `end_frame`, which no call before has passed."""
        now = start_frame
        while now < end_frame:
            block = self._block_with(now)
            last = min(end_frame, self._start + len(block))
            yield block[now - self._start : last - self._start]
            now = last

    def whole(self, start_frame: int, end_frame: int) -> NDArray[np.float32]:
        """The same as one array, which may be empty."""
        empty = np.zeros((0, self._width), np.float32)
        return np.concatenate([empty, *self.between(start_frame, end_frame)])

    def _block_with(self, frame: int) -> NDArray[np.float32]:
        while self._block is None or frame >= self._start + len(self._block):
            self._start += 0 if self._block is None else len(self._block)
            self._block = next(self._blocks)
        return self._block
