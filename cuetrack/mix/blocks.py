"""An arrangement and its sounds → the programme as blocks of samples, in memory that does not grow.

Where sounds overlap they are added, in the order of the arrangement, so every sample is the same for
every block size. Where nothing sounds the programme is exact zero.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from cuetrack.conform.arrangement import Arrangement, Placed

Samples = NDArray[np.float32]

BLOCK_FRAMES = 65_536


def mixed_blocks(
    arrangement: Arrangement, sounds: Mapping[str, Samples], block_frames: int = BLOCK_FRAMES
) -> Iterator[Samples]:
    """The programme from its first frame to its last, in blocks.

    Args:
        arrangement: what sounds when.
        sounds: by `Placed.sound`, float32, shape (frames,), full scale 1.0.
        block_frames: frames in a block; only the last may be shorter.

    Returns:
        Float32 blocks, mono, shape (frames,). Nothing is clamped: a sum may pass full scale. Silent
        blocks share one read-only array, so a consumer must not write into a block.

    Raises:
        ValueError: the arrangement contradicts itself or its sounds, which only a mistake in our own
            code makes it do; conform keeps every sound inside the programme.
    """
    for placed in arrangement.placed:
        _refuse_misplaced(placed, arrangement.frames, sounds)
    starts = [placed.start_frame for placed in arrangement.placed]
    if starts != sorted(starts):
        raise ValueError("the arrangement is not in the order of its starts")
    if block_frames < 1:
        raise ValueError(f"a block has 1 frame or more, not {block_frames}")
    return _blocks(arrangement, sounds, block_frames)


def _refuse_misplaced(placed: Placed, frames: int, sounds: Mapping[str, Samples]) -> None:
    name, start, end = placed.sound, placed.start_frame, placed.start_frame + placed.frames
    if start < 0 or end > frames:
        raise ValueError(f"{name!r} lies at frames {start} to {end}, outside the programme, 0 to {frames}")
    if name not in sounds:
        raise ValueError(f"{name!r} is placed but has no samples")
    if sounds[name].shape != (placed.frames,) or sounds[name].dtype != np.float32:
        found = f"{sounds[name].dtype} of shape {sounds[name].shape}"
        raise ValueError(f"{name!r} is {found}, not float32 of shape ({placed.frames},)")


def _blocks(arrangement: Arrangement, sounds: Mapping[str, Samples], block_frames: int) -> Iterator[Samples]:
    silence = np.zeros(min(block_frames, arrangement.frames), np.float32)
    silence.flags.writeable = False
    to_come = list(reversed(arrangement.placed))
    sounding: list[Placed] = []
    for start in range(0, arrangement.frames, block_frames):
        end = min(start + block_frames, arrangement.frames)
        while to_come and to_come[-1].start_frame < end:
            sounding.append(to_come.pop())
        yield _summed(sounding, sounds, start, end) if sounding else silence[: end - start]
        sounding = [placed for placed in sounding if placed.start_frame + placed.frames > end]


def _summed(sounding: Sequence[Placed], sounds: Mapping[str, Samples], start: int, end: int) -> Samples:
    """The sum of the sounds between the frames `start` and `end` of the programme."""
    block = np.zeros(end - start, np.float32)
    for placed in sounding:
        first = max(start, placed.start_frame)
        last = min(end, placed.start_frame + placed.frames)
        heard = sounds[placed.sound][first - placed.start_frame : last - placed.start_frame]
        block[first - start : last - start] += heard
    return block


def on_each_channel(operation: np.ufunc, block: Samples, values: NDArray[np.floating]) -> Samples:
    """`operation(block, values[:, np.newaxis])` in a quarter of its time, as a new block.

    Args:
        operation: of two numbers, such as `np.multiply`.
        block: shape (frames, width).
        values: one for all channels of each frame, shape (frames,).
    """
    made = np.empty_like(block)
    for channel, result in zip(block.T, made.T, strict=True):
        operation(channel, values, out=result, casting="same_kind")
    return made


def regrouped(blocks: Iterable[Samples], frames: int) -> Iterator[Samples]:
    """The same samples in blocks of `frames`, counted from the first; only the last may be shorter.

    Args:
        blocks: shape (frames,), or (frames, width) with one width; of any lengths.
        frames: 1 or more.
    """
    kept: list[Samples] = []
    kept_frames = 0
    for block in blocks:
        rest = block
        while kept_frames + len(rest) >= frames:
            head, rest = rest[: frames - kept_frames], rest[frames - kept_frames :]
            yield np.concatenate([*kept, head]) if kept else head
            kept, kept_frames = [], 0
        if len(rest):
            kept.append(rest)
            kept_frames += len(rest)
    if kept:
        yield np.concatenate(kept) if len(kept) > 1 else kept[0]
