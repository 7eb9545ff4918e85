"""Turns of files on one axis → the sound that they make together, read from the front to the back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.mix.bed_files import BedSamples, FileReader


@dataclass(frozen=True, slots=True)
class Turn:
    """One file as it is heard once; frames count on the axis of the sequence.

    `file` is its place in the list of files, `gain` linear, `end` open for None. Fades are frames at both
    ends, of equal power. A turn that follows another without a fade is joined to it without a step.
    """

    file: int
    gain: float
    start: int
    end: int | None
    fade_in: int
    fade_out: int


@dataclass(slots=True, eq=False)
class _Sounding:
    """A turn that is heard, where it has been read to, and the step that is rounded off at its start."""

    turn: Turn
    reader: FileReader
    position: int
    step: NDArray[np.float32] | None = None


class SequencePlayer:
    """Plays turns from the front to the back; `close` it.

    Args:
        turns: in order; at most two at a time.
        opened: gives a reader of a turn's file, at its first frame.
        rounded_frames: over how many frames a step between two turns is rounded off.
        channels: of the files.
    """

    def __init__(
        self,
        turns: Iterator[Turn],
        opened: Callable[[Turn], FileReader],
        rounded_frames: int,
        channels: int,
    ) -> None:
        self._turns, self._opened, self._rounded, self._channels = turns, opened, rounded_frames, channels
        self._to_come = next(turns, None)
        self._sounding: list[_Sounding] = []
        self._position: int | None = None
        # The last frames that were read, to which the next have to fit.
        self._before = np.empty((0, channels), np.float32)

    def read(self, start_frame: int, frames: int) -> BedSamples:
        """`frames` from `start_frame`, which never lies before the end of the last; zeros after the end.

        Raises:
            ValueError: it does, which only a mistake in our own code makes it.
        """
        if self._position is not None and start_frame < self._position:
            raise ValueError(f"files are read onwards only, not from {start_frame} after {self._position}")
        if start_frame != self._position:
            self._before = self._before[:0]
        self._position = end = start_frame + frames
        known = len(self._before)
        made = np.zeros((known + frames, self._channels), np.float32)
        made[:known] = self._before
        self._end_turns(start_frame)
        self._begin_turns(start_frame, end)
        for one in self._sounding:
            self._add(made, one, start_frame - known, max(start_frame, one.turn.start), end)
        self._end_turns(end)
        self._before = made[-self._rounded :].copy()
        return made[known:]

    def close(self) -> None:
        """Lets go of all files."""
        for one in self._sounding:
            one.reader.close()
        self._sounding, self._to_come = [], None

    def _end_turns(self, frame: int) -> None:
        """Closes what is over at `frame`."""
        over = [one for one in self._sounding if one.turn.end is not None and one.turn.end <= frame]
        for one in over:
            one.reader.close()
        self._sounding = [one for one in self._sounding if one not in over]

    def _begin_turns(self, start_frame: int, end: int) -> None:
        """Opens what begins before `end`, except what is over before `start_frame`."""
        while self._to_come is not None and self._to_come.start < end:
            turn = self._to_come
            if turn.end is None or turn.end > start_frame:
                self._sounding.append(_Sounding(turn, self._opened(turn), turn.start))
            self._to_come = next(self._turns, None)

    def _add(self, made: BedSamples, one: _Sounding, origin: int, first: int, end: int) -> None:
        """Adds the frames `first` to `end` of a turn to `made`, whose first frame is `origin`."""
        turn = one.turn
        last = end if turn.end is None else min(end, turn.end)
        one.reader.skip(first - one.position)
        heard = one.reader.read(last - first)
        heard *= np.float32(turn.gain)
        _fade(heard, turn, first)
        if first == turn.start and not turn.fade_in:
            one.step = _step(made[max(0, first - origin - self._rounded) : first - origin], heard)
        if one.step is not None and first < turn.start + self._rounded:
            share = np.clip((np.arange(first, last) - turn.start) / self._rounded, 0.0, 1.0)
            heard += one.step * (0.5 + 0.5 * np.cos(np.pi * share)).astype(np.float32)[:, np.newaxis]
        one.position = last
        made[first - origin : last - origin] += heard


def _fade(heard: BedSamples, turn: Turn, first: int) -> None:
    """Fades what begins at frame `first` of a turn's axis: equal power at both ends."""
    last = first + len(heard)
    if first < turn.start + turn.fade_in:
        frame = np.arange(first, last)
        heard *= quarter_sine((frame - turn.start) / turn.fade_in)
    if turn.end is not None and turn.fade_out and last > turn.end - turn.fade_out:
        frame = np.arange(first, last)
        heard *= quarter_sine((turn.end - frame) / turn.fade_out)


def quarter_sine(share: NDArray[np.float64]) -> NDArray[np.float32]:
    """The gain of a fade of equal power, from 0 to 1 as `share` does, shape (frames, 1)."""
    return np.sin(np.pi / 2 * np.clip(share, 0.0, 1.0)).astype(np.float32)[:, np.newaxis]


def _step(before: BedSamples, after: BedSamples) -> NDArray[np.float32] | None:
    """What would have to be added to `after` for it to go on from `before`; None where it does."""
    if len(before) < 2 or not len(after):
        return None
    step = before[-1] - after[0]
    own = np.abs(np.diff(before, axis=0)).max()
    return step if np.abs(step).max() > own else None
