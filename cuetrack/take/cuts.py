"""Where a programme runs in a recording → what of the recording to keep: no pauses, nothing twice.

Of what was recorded more than once the version is kept that runs on for longest; of equals the last, which
was done because another was not good enough. Cuts lie in silence between cues.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from cuetrack.take.align import Alignment
from cuetrack.take.retimed import whole_span

# Kept before and behind what is heard, so that no cut touches a word. Common practice, no source.
_AIR_SECONDS = 0.5


@dataclass(frozen=True, slots=True)
class Cut:
    """A part of the recording to keep, and what of the programme it is; times in seconds.

    `missing_before_seconds` is how much of the programme between the part before and this one is nowhere
    to be heard in the recording: look there.
    """

    recording_start_seconds: float
    recording_end_seconds: float
    programme_start_seconds: float
    programme_end_seconds: float
    rate_ppm: float
    missing_before_seconds: float


def cuts_of(alignment: Alignment) -> tuple[Cut, ...]:
    """The parts to keep, in the order of the programme; none overlapping another in either."""
    spans = [whole_span(alignment, number) for number in range(len(alignment.stretches))]
    edges = sorted({edge for span in spans for edge in span})
    chosen: list[tuple[float, float, int]] = []
    for start, end in pairwise(edges):
        running = [n for n, (first, last) in enumerate(spans) if first <= start and last >= end]
        if not running:
            continue
        best = max(running, key=lambda n: (round(spans[n][1] - spans[n][0]), n))
        if chosen and chosen[-1][2] == best and chosen[-1][1] == start:
            chosen[-1] = (chosen[-1][0], end, best)
        else:
            chosen.append((start, end, best))
    return tuple(_cuts(alignment, chosen))


def _cuts(alignment: Alignment, chosen: list[tuple[float, float, int]]) -> list[Cut]:
    made: list[Cut] = []
    for index, (start, end, number) in enumerate(chosen):
        line = alignment.stretches[number].line
        before = chosen[index - 1][1] if index else 0.0
        behind = chosen[index + 1][0] if index + 1 < len(chosen) else alignment.expected.seconds
        first = _in_silence(alignment, start, max(before, start - _AIR_SECONDS))
        last = _in_silence(alignment, end, min(behind, end + _AIR_SECONDS))
        opens, closes = line.recording_at(first), line.recording_at(last)
        missing = max(0.0, start - before)
        made.append(
            Cut(
                max(0.0, opens),
                min(alignment.seconds, closes),
                line.programme_at(max(0.0, opens)),
                line.programme_at(min(alignment.seconds, closes)),
                line.rate_ppm,
                missing if missing > 2 * _AIR_SECONDS else 0.0,
            )
        )
    return made


def _in_silence(alignment: Alignment, edge: float, wanted: float) -> float:
    """`wanted` if no cue lies between it and the edge, else the nearest end of one."""
    rate_hz = alignment.expected.rate_hz
    low, high = sorted((edge, wanted))
    between = alignment.expected.between(round(low * rate_hz), round(high * rate_hz))
    if wanted < edge:
        ends = [cue.end_frame / rate_hz for cue in between if cue.end_frame / rate_hz <= edge]
        return max([wanted, *ends])
    starts = [cue.start_frame / rate_hz for cue in between if cue.start_frame / rate_hz >= edge]
    return min([wanted, *starts])
