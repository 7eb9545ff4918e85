"""A detection → where the programme runs in a recording: stretches, and what became of every cue."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from cuetrack.take.detect import Detection, detect
from cuetrack.take.expected import Expected, ExpectedCue
from cuetrack.take.line import Line
from cuetrack.take.listen import FoundStretch
from cuetrack.take.recording import Recording

# A short stretch goes with the clock of the longest where the two agree to this.
_SAME_CLOCK_SECONDS = 0.001


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the recording in which the programme runs without a break.

    Its times are those of the first and the last sound of it that is heard. `cues` are the numbers of the
    cues in it, `heard` of those that are heard; `confidence` is the share of the two.
    """

    line: Line
    recording_start_seconds: float
    recording_end_seconds: float
    cues: tuple[int, ...]
    heard: frozenset[int]

    @property
    def programme_start_seconds(self) -> float:
        """The time of the programme at its start."""
        return self.line.programme_at(self.recording_start_seconds)

    @property
    def programme_end_seconds(self) -> float:
        """The time of the programme at its end."""
        return self.line.programme_at(self.recording_end_seconds)

    @property
    def rate_ppm(self) -> float:
        """How much faster the programme's time runs than the recording's, in parts per million."""
        return self.line.rate_ppm

    @property
    def confidence(self) -> float:
        """The share of its cues that are heard."""
        return len(self.heard) / len(self.cues)


@dataclass(frozen=True, slots=True)
class Alignment:
    """Where a programme runs in a recording; without a stretch `why` says why it is nowhere."""

    expected: Expected
    rate_hz: int
    frames: int
    stretches: tuple[Stretch, ...]
    why: str | None
    notes: tuple[str, ...]

    @property
    def seconds(self) -> float:
        """How long the recording lasts."""
        return self.frames / self.rate_hz

    def unheard(self) -> tuple[ExpectedCue, ...]:
        """The cues that are heard in no stretch."""
        heard = frozenset[int]().union(*(one.heard for one in self.stretches))
        return tuple(cue for number, cue in enumerate(self.expected.cues) if number not in heard)

    def gaps(self) -> Iterator[tuple[float, float]]:
        """The parts of the recording, start and end in seconds, in which nothing of it is heard."""
        now = 0.0
        for one in self.stretches:
            if one.recording_start_seconds > now:
                yield now, one.recording_start_seconds
            now = max(now, one.recording_end_seconds)
        if self.seconds > now:
            yield now, self.seconds


def aligned(
    expected: Expected, recording: Recording, tell: Callable[[int, int], None] = lambda done, of: None
) -> Alignment:
    """Where a programme runs in a recording.

    Args:
        expected: the programme.
        recording: its samples at the detector's rate.
        tell: the progress.
    """
    notes = (recording.problem,) if recording.problem else ()
    if recording.is_silent:
        found = Detection((), "the recording is silent; name the one that has the sound of the room")
    elif recording.is_cancelled:
        why = "one channel of the recording is the other upside down: save one of them alone"
        found = Detection((), why)
    else:
        found = detect(expected, recording.samples, tell)
    stretches = _on_one_clock([_stretch(expected, one) for one in found.stretches])
    return Alignment(expected, recording.rate_hz, recording.frames, tuple(stretches), found.why, notes)


def _stretch(expected: Expected, found: FoundStretch) -> Stretch:
    heard = [expected.cues[number] for number in found.heard]
    first = min(cue.start_frame for cue in heard) / expected.rate_hz
    last = max(cue.end_frame for cue in heard) / expected.rate_hz
    line = found.line.through((first + last) / 2)
    return Stretch(line, line.recording_at(first), line.recording_at(last), found.cues, found.heard)


def _on_one_clock(stretches: Sequence[Stretch]) -> list[Stretch]:
    """The same with the rate of the longest stretch where a shorter one agrees: they share their clocks."""
    if not stretches:
        return []
    longest = max(stretches, key=_length)
    made = []
    for one in stretches:
        off = abs(one.rate_ppm - longest.rate_ppm) / 1e6 * _length(one)
        if _length(one) < _length(longest) and off < _SAME_CLOCK_SECONDS:
            line = replace(one.line, rate_ppm=longest.rate_ppm)
            start = line.recording_at(one.programme_start_seconds)
            end = line.recording_at(one.programme_end_seconds)
            one = replace(one, line=line, recording_start_seconds=start, recording_end_seconds=end)
        made.append(one)
    return made


def _length(one: Stretch) -> float:
    return one.recording_end_seconds - one.recording_start_seconds
