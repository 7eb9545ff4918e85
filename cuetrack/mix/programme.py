"""Cues, bed and ducking → one programme as blocks, and the stems it is the sum of.

The cues are one channel, the bed as many as the track: where there is no bed a block stays one channel
wide, and silence stays exact zero.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.mix.blocks import BLOCK_FRAMES, Samples, mixed_blocks, on_each_channel
from cuetrack.mix.ducking import DuckCurve
from cuetrack.timeline.cues import kind_of

# Blocks of a programme: shape (frames, width), width 1 or that of the bed.
ProgrammeBlock = NDArray[np.float32]

_STEM_OF_KIND = {"tone": "tones", "click": "clicks", "slate": "slate"}
STEMS = ("voice", "tones", "clicks", "slate", "bed")


@dataclass(frozen=True, slots=True)
class Programme:
    """What one mix is made of, for `channels` channels.

    `bed` makes the bed's blocks anew at each call, of `BLOCK_FRAMES` frames, None where it is silent;
    itself None where the mix has no bed. `ducking` is what it goes through.
    """

    arrangement: Arrangement
    sounds: Mapping[str, Samples]
    channels: int
    bed: Callable[[], Iterator[ProgrammeBlock | None]] | None = None
    ducking: DuckCurve | None = None

    def blocks(self) -> Iterator[ProgrammeBlock]:
        """The sum of all stems, before mastering; nothing is clamped. Blocks may be read-only."""
        cues = mixed_blocks(self.arrangement, self.sounds)
        if self.bed is None:
            return (block[:, np.newaxis] for block in cues)
        return self._with_bed(cues)

    def stem(self, name: str) -> Iterator[ProgrammeBlock]:
        """One of `STEMS`: those that a programme has add up to its blocks."""
        if name == "bed":
            return self._ducked_bed()
        own = tuple(placed for placed in self.arrangement.placed if stem_of(placed) == name)
        cues = mixed_blocks(replace(self.arrangement, placed=own), self.sounds)
        return (block[:, np.newaxis] for block in cues)

    @property
    def width(self) -> int:
        """Channels of a block: one where every channel of the track is the same."""
        return 1 if self.bed is None else self.channels

    def stem_names(self) -> tuple[str, ...]:
        """The stems that hold anything."""
        held = {stem_of(placed) for placed in self.arrangement.placed}
        return tuple(name for name in STEMS if name in held or (name == "bed" and self.bed is not None))

    def _with_bed(self, cues: Iterator[Samples]) -> Iterator[ProgrammeBlock]:
        for bed, cue in zip(self._ducked_bed(), cues, strict=True):
            yield on_each_channel(np.add, bed, cue) if cue.any() else bed

    def _ducked_bed(self) -> Iterator[ProgrammeBlock]:
        if self.bed is None:
            raise ValueError("this programme has no bed")
        start, frames = 0, self.arrangement.frames
        for block in self.bed():
            length = min(BLOCK_FRAMES, frames - start)
            yield self._ducked(block, start, length)
            start += length

    def _ducked(self, block: ProgrammeBlock | None, start: int, frames: int) -> ProgrammeBlock:
        if block is None:
            return np.zeros((frames, self.channels), np.float32)
        gain = 1.0 if self.ducking is None else self.ducking.gain(start, frames)
        if isinstance(gain, float):
            return block if gain == 1.0 else block * np.float32(gain)
        return on_each_channel(np.multiply, block, gain)


def stem_of(placed: Placed) -> str:
    """The stem that a sound belongs to; everything spoken is the voice."""
    return _STEM_OF_KIND.get(kind_of(placed.cue), "voice")
