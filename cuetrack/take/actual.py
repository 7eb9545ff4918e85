"""A recording lined up with its session → when the coach really began and ended each move, where it is heard.

Somebody who moves is heard: steps, breath, a band. Beside the cues, whose own time is left out, the sound
near each planned start gets louder once, and softer near each end; that instant is taken, if the two sides
differ enough. It is a measurement of sound: where talk goes on, or the track's own music, which begins and
ends with the moves, it says nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.take.align import Alignment, Stretch
from cuetrack.take.expected import Expected, ExpectedPhase
from cuetrack.take.pieces import DETECTOR_RATE_HZ
from cuetrack.take.samples import SampleFile

_STEP_SECONDS = 0.05
# How far before and behind a planned change it is listened for, and what both sides need at least.
_TOWARDS_QUIET_SECONDS, _TOWARDS_LOUD_SECONDS, _LEAST_STEPS = 4.0, 8.0, 12
# What a room still says after a cue. Common practice, no source.
_ECHO_SECONDS = 0.4
# The louder side, by its louder tenth, over the softer side by its: twice the amplitude.
_LEAST_RISE_DB, _LOUDER_TENTH = 6.0, 0.9
# Of the logarithm of the odds that there is a change and not none.
_LEAST_ODDS = 12.0
_BETWEEN_STEPS_SECONDS = 0.6
_SILENCE_DB = -100.0


@dataclass(frozen=True, slots=True)
class Heard:
    """An instant of the recording in seconds, known to `within_seconds` to both sides."""

    seconds: float
    within_seconds: float


@dataclass(frozen=True, slots=True)
class ActualMove:
    """One move on one side: where the plan has it in the recording, and where it is heard, if it is."""

    called: str
    part: str | None
    round: int | None
    planned_start_seconds: float
    planned_end_seconds: float
    start: Heard | None
    end: Heard | None

    @property
    def late_seconds(self) -> float | None:
        """How much later than planned it began."""
        return None if self.start is None else self.start.seconds - self.planned_start_seconds


def actual_moves(alignment: Alignment, recording: SampleFile) -> tuple[ActualMove, ...]:
    """Every move that lies in a stretch, in the order of the recording.

    Args:
        alignment: where the programme runs.
        recording: its samples at the detector's rate.
    """
    return tuple(
        move
        for stretch in alignment.stretches
        for run in _runs(alignment.expected)
        if (move := _move(alignment.expected, recording, stretch, run)) is not None
    )


def _runs(expected: Expected) -> Iterator[tuple[ExpectedPhase, ExpectedPhase]]:
    """The first and the last phase of each move on one side, in each round."""
    first = last = None
    for phase in expected.phases:
        same = last is not None and phase.kind == "work" and _what(phase) == _what(last)
        if last is not None and first is not None and not same:
            yield first, last
            first = last = None
        if phase.kind == "work":
            first, last = first or phase, phase
    if first is not None and last is not None:
        yield first, last


def _what(phase: ExpectedPhase) -> tuple[object, ...]:
    return phase.part, phase.round, phase.move, phase.side


def _move(
    expected: Expected, recording: SampleFile, stretch: Stretch, run: tuple[ExpectedPhase, ExpectedPhase]
) -> ActualMove | None:
    first, last = run
    opens, closes = first.start_frame / expected.rate_hz, last.end_frame / expected.rate_hz
    if opens < stretch.programme_start_seconds or closes > stretch.programme_end_seconds:
        return None
    start, end = stretch.line.recording_at(opens), stretch.line.recording_at(closes)
    name = ", ".join(word for word in (first.move, first.side) if word)
    if expected.has_bed:
        return ActualMove(name, first.part, first.round, start, end, None, None)
    half = (end - start) / 2
    louder = _change(
        *_levels(
            expected,
            recording,
            stretch,
            start - _TOWARDS_QUIET_SECONDS,
            start + min(half, _TOWARDS_LOUD_SECONDS),
        )
    )
    softer = _change(
        *_levels(
            expected, recording, stretch, end - min(half, _TOWARDS_LOUD_SECONDS), end + _TOWARDS_QUIET_SECONDS
        ),
        falls=True,
    )
    return ActualMove(name, first.part, first.round, start, end, louder, softer)


def _levels(
    expected: Expected, recording: SampleFile, stretch: Stretch, start: float, end: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The times of the steps in which no cue is heard, and their levels in dB."""
    step = round(_STEP_SECONDS * DETECTOR_RATE_HZ)
    first, number = round(start * DETECTOR_RATE_HZ), max(0, round((end - start) / _STEP_SECONDS))
    samples = recording.read(first, number * step).astype(np.float64).reshape(number, step)
    # What hums and rumbles lies below; a difference of neighbours is a simple filter against it.
    levels = 10 * np.log10(np.mean(np.diff(samples, axis=1) ** 2, axis=1) + 10 ** (_SILENCE_DB / 10))
    times = (first + step * np.arange(number)) / DETECTOR_RATE_HZ
    free = (times >= 0) & (times + _STEP_SECONDS <= recording.frames / DETECTOR_RATE_HZ)
    rate_hz = expected.rate_hz
    low, high = (round(stretch.line.programme_at(at) * rate_hz) for at in (start - _ECHO_SECONDS, end))
    for cue in expected.between(low - rate_hz, high):
        opens = stretch.line.recording_at(cue.start_frame / rate_hz) - _STEP_SECONDS
        closes = stretch.line.recording_at(cue.end_frame / rate_hz) + _ECHO_SECONDS
        free &= (times + _STEP_SECONDS <= opens) | (times >= closes)
    return times[free], levels[free]


def _change(times: NDArray[np.float64], levels: NDArray[np.float64], *, falls: bool = False) -> Heard | None:
    """The instant at which the level changes once for all, by the odds of two normal distributions to one."""
    number = len(levels)
    if number < 2 * _LEAST_STEPS:
        return None
    splits = range(_LEAST_STEPS, number - _LEAST_STEPS + 1)
    whole = _spread(levels)
    odds = [
        number / 2 * np.log(whole)
        - at / 2 * np.log(_spread(levels[:at]))
        - (number - at) / 2 * np.log(_spread(levels[at:]))
        for at in splits
    ]
    best = int(np.argmax(odds))
    at = splits[best]
    before, after = (float(np.quantile(side, _LOUDER_TENTH)) for side in (levels[:at], levels[at:]))
    rise = before - after if falls else after - before
    if odds[best] < _LEAST_ODDS or rise < _LEAST_RISE_DB:
        return None
    # Between two steps of a foot it is quiet, too: where cues were left out so shortly before, it may have
    # begun under them.
    near = int(np.searchsorted(times, times[at] - _BETWEEN_STEPS_SECONDS))
    jumps = near + np.flatnonzero(np.diff(times[max(0, near - 1) : at + 1]) > 2 * _STEP_SECONDS)
    last_quiet = int(jumps[0]) - 1 if len(jumps) and near else at - 1
    low, high = float(times[max(0, last_quiet)]) + _STEP_SECONDS, float(times[at])
    return Heard((low + high) / 2, max(_STEP_SECONDS, (high - low) / 2))


def _spread(levels: Sequence[float] | NDArray[np.float64]) -> float:
    """The variance; of one decibel at least, so that digital silence does not decide alone."""
    return max(1.0, float(np.var(levels)))
