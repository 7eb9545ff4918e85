"""Bed spans and what plays in them → the bed as blocks, at its own level, before anything is said over it.

Each source is brought to one loudness, so that a quiet file and a loud one lie equally far under the
voice; the plan's gain comes on top.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import zip_longest
from math import isfinite
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.bed_files import BedSamples
from cuetrack.mix.bed_player import SequencePlayer, quarter_sine
from cuetrack.mix.blocks import BLOCK_FRAMES
from cuetrack.sound.units import db_to_linear
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed import BedSpan, FilesSource, PulseSource

# Two LU under the voice: heard as music while nobody speaks. Common practice, no source.
BED_LEVEL_LUFS = -20.0
# From one gain to the next where the same music goes on, before the boundary. Common practice, no source.
_GAIN_RAMP = Duration(Fraction(1, 5))


class Playing(Protocol):
    """A source as it is played once, from the front to the back."""

    def read(self, start_frame: int, frames: int) -> BedSamples:
        """A new array with `frames` from `start_frame` after the source's anchor; no earlier ones after."""


class BedSound(Protocol):
    """A source that can be played any number of times."""

    def loudness_lufs(self) -> float:
        """Integrated loudness; minus infinity if it is silent."""

    def played(self) -> Playing:
        """From its beginning."""


def bed_blocks(
    spans: Sequence[BedSpan],
    sounds: Mapping[PulseSource | FilesSource, BedSound],
    rate_hz: int,
    frames: int,
    channels: int,
    block_frames: int = BLOCK_FRAMES,
) -> Iterator[BedSamples | None]:
    """The bed from the programme's first frame to its last; None where it is silent.

    Args:
        spans: where what plays, in order.
        sounds: the sound of every source in `spans`.
        rate_hz: of the programme.
        frames: its length.
        channels: 1 or 2.
        block_frames: frames in a block; only the last may be shorter.

    Returns:
        Float32, shape (frames, channels).

    Raises:
        SoundError: a file changed since it was measured.
    """
    to_come = _in_frames(spans, sounds, rate_hz)
    playing = {source: sounds[source].played() for source in dict.fromkeys(span.source for span in spans)}
    try:
        for start in range(0, frames, block_frames):
            end = min(start + block_frames, frames)
            to_come = [span for span in to_come if span.end > start]
            here = [span for span in to_come if span.start < end]
            yield _block(here, playing, start, end, channels) if here else None
    finally:
        for player in playing.values():
            if isinstance(player, SequencePlayer):
                player.close()


def _block(
    here: Sequence[_Span],
    playing: Mapping[PulseSource | FilesSource, Playing],
    start: int,
    end: int,
    channels: int,
) -> BedSamples:
    if here[0].start <= start and end <= here[0].end:
        return here[0].heard(playing[here[0].source], start, end)
    block = np.zeros((end - start, channels), np.float32)
    for span in here:
        first, last = max(start, span.start), min(end, span.end)
        block[first - start : last - start] = span.heard(playing[span.source], first, last)
    return block


def _in_frames(
    spans: Sequence[BedSpan], sounds: Mapping[PulseSource | FilesSource, BedSound], rate_hz: int
) -> list[_Span]:
    sources = dict.fromkeys(span.source for span in spans)
    levels_db = {source: _level_db(sounds[source]) for source in sources}
    return [
        _Span(span, after, levels_db[span.source], rate_hz)
        for span, after in zip_longest(spans, spans[1:])
        if span is not None
    ]


def _level_db(sound: BedSound) -> float:
    """The gain that brings a source to the bed's level; silence stays as it is."""
    loudness_lufs = sound.loudness_lufs()
    return BED_LEVEL_LUFS - loudness_lufs if isfinite(loudness_lufs) else 0.0


class _Span:
    """A span in frames, and its gain at each of them."""

    def __init__(self, span: BedSpan, after: BedSpan | None, level_db: float, rate_hz: int) -> None:
        self.source = span.source
        self.start, self.end = span.start.to_frame(rate_hz), span.end.to_frame(rate_hz)
        self._anchor = span.source.anchor.to_frame(rate_hz)
        self._gain_db = level_db + float(span.gain_db)
        goes_on = after is not None and after.source == span.source and after.start == span.end
        self._next_gain_db = level_db + float(after.gain_db) if after and goes_on else self._gain_db
        self._fade_in = Instant(span.fade_in.seconds).to_frame(rate_hz)
        self._fade_out = Instant(span.fade_out.seconds).to_frame(rate_hz)
        self._ramp = min(Instant(_GAIN_RAMP.seconds).to_frame(rate_hz), self.end - self.start)

    def heard(self, player: Playing, first: int, last: int) -> BedSamples:
        """The frames `first` to `last` of the programme, which lie in the span."""
        heard = player.read(first - self._anchor, last - first)
        ramp_start = self.end - self._ramp
        if self._next_gain_db == self._gain_db or last <= ramp_start:
            heard *= np.float32(db_to_linear(self._gain_db))
        else:
            heard *= self._ramp_gain(np.arange(first, last) - ramp_start)
        if first < self.start + self._fade_in:
            heard *= quarter_sine((np.arange(first, last) - self.start) / self._fade_in)
        if last > self.end - self._fade_out:
            heard *= quarter_sine((self.end - np.arange(first, last)) / self._fade_out)
        return heard

    def _ramp_gain(self, into_ramp: NDArray[np.int64]) -> NDArray[np.float32]:
        """From one gain to the next, linear in dB; the last frame has the next one's."""
        share = np.clip((into_ramp + 1) / self._ramp, 0.0, 1.0)
        gain_db = self._gain_db + (self._next_gain_db - self._gain_db) * share
        return np.asarray(10 ** (gain_db / 20), np.float32)[:, np.newaxis]
