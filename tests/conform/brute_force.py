"""Where phrases go, found by trying every frame: slow, and nothing of the fitter's own thinking in it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import CountWord, SpokenCue
from tests.helpers.by_hand import to_frame
from tests.helpers.fake_voice import FakeVoice, wording

# count > change of side > stage > warning > announcement > free cue; see `rank`
ORDER = {
    "change-sides": 1,
    "stage": 2,
    "time-left": 3,
    "halfway": 3,
    "announce": 4,
    "last-round": 4,
    "as-written": 5,
}
BREATH_SECONDS = Fraction(3, 20)


def rank(cue: SpokenCue) -> tuple[bool, int]:
    """The lower, the more important; whatever a coach wrote comes before what is built in and gives way."""
    return cue.gives_way, ORDER[cue.phrase.key]


@dataclass
class Try:
    """One phrase: where it begins, or, if it fits nowhere, the most frames that would have fitted."""

    cue: Any
    text: str
    frames: int
    start: int | None
    most_frames: int


def tried(timeline: Timeline, voice: FakeVoice, rate_hz: int) -> list[Try]:
    """All phrases of a timeline, the important ones first."""
    said = [(cue, wording(cue.phrase)) for cue in timeline.cues if isinstance(cue, CountWord | SpokenCue)]
    said = [(cue, text) for cue, text in said if text]
    blocked = bytearray(to_frame(timeline.end.seconds, rate_hz) + 10 * rate_hz)
    breath = to_frame(BREATH_SECONDS, rate_hz)

    def block(found: Try) -> Try:
        if found.start is not None:
            start, end = max(0, found.start - breath), found.start + found.frames + breath
            blocked[start:end] = b"\x01" * (end - start)
        return found

    counted = [(cue, text) for cue, text in said if isinstance(cue, CountWord)]
    tries = [
        _counted(cue, text, voice, rate_hz, counted[index + 1 :]) for index, (cue, text) in enumerate(counted)
    ]
    for found in tries:
        block(found)
    movable = [(cue, text) for cue, text in said if isinstance(cue, SpokenCue)]
    for cue, text in sorted(movable, key=lambda item: rank(item[0])):
        tries.append(block(_moved(cue, text, voice[text].frames, blocked, rate_hz)))
    return tries


def _counted(
    cue: CountWord, text: str, voice: FakeVoice, rate_hz: int, later: list[tuple[CountWord, str]]
) -> Try:
    def span(cue: CountWord, text: str) -> tuple[int, int]:
        start = to_frame(cue.mark.seconds, rate_hz) - voice[text].onset_frames
        return start, start + voice[text].frames

    start, end = span(cue, text)
    inside = (
        to_frame(cue.window.earliest.seconds, rate_hz) <= start
        and end <= to_frame(cue.window.latest_end.seconds, rate_hz)
        and all(end <= span(*other)[0] for other in later[:1])
    )
    return Try(cue, text, end - start, start if inside else None, 0)


def _moved(cue: SpokenCue, text: str, frames: int, blocked: bytearray, rate_hz: int) -> Try:
    window = cue.window
    earliest, end = (to_frame(edge.seconds, rate_hz) for edge in (window.earliest, window.latest_end))
    latest = end if window.latest_start is None else to_frame(window.latest_start.seconds, rate_hz)
    wanted = to_frame(cue.wanted.seconds, rate_hz) - (frames if cue.wanted_edge == "end" else 0)
    free = [
        start
        for start in range(earliest, min(latest, end - frames) + 1)
        if blocked.find(1, start, start + frames) < 0
    ]
    if free:
        return Try(cue, text, frames, min(free, key=lambda start: (abs(start - wanted), start)), frames)
    most = 0
    for start in range(earliest, min(latest, end) + 1):
        taken = blocked.find(1, start, end)
        most = max(most, (end if taken < 0 else taken) - start)
    return Try(cue, text, frames, None, most)
