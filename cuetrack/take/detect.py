"""A programme and a recording → the stretches in which the one is heard in the other, and when to the frame.

The one detector of `verify` and `align`. It looks for the programme's most telling pieces everywhere
(`search`), chains what it sights into stretches (`chain`), and in each stretch lets all pieces together
say where the direct sound lies and how fast the clocks run (`listen`).

Its limits: only what has cues is found, music alone is not; a stretch needs a handful of cues, in several
places; a session of tones alone repeats itself, and a short take of one may fit in several places, which
is said and not guessed. It takes the first strong arrival for the direct sound: where that is blocked, a
take seems to be late by the way round.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cuetrack.take.chain import MOST_DRIFT, Pair, chains, pairs_of
from cuetrack.take.expected import Expected
from cuetrack.take.line import first_line
from cuetrack.take.listen import FoundStretch, Listener
from cuetrack.take.pieces import pieces_of, placed_pieces, telling_pieces
from cuetrack.take.samples import SampleFile
from cuetrack.take.search import sightings

# One piece looked for in each of so many stretches, each of so many seconds or more.
_STRETCHES, _LEAST_STRETCH_SECONDS = 60, 10.0
_MOMENT_SECONDS = 5.0
# What a take, and each further stretch of it, must have at least: cues heard, their share, moments.
_LEAST_TAKE, _LEAST_STRETCH = (6, 0.25, 3), (4, 0.4, 2)
_SHORTEST_SECONDS = 10.0
# Another place in the programme that explains nearly as many cues makes a stretch ambiguous; only a short one
# is looked at, since in a long one something is said only once.
_AS_GOOD = 0.85
# Where another stretch of the take is heard, it has to explain as good as all: what is done once is likelier.
_AS_GOOD_WHERE_HELD = 0.95
_AMBIGUOUS_SECONDS, _MOST_OTHERS = 300.0, 4
# Two of another drift than this are heard again with one; which has to explain nearly as many cues.
_SAME_PPM, _NEARLY_ALL = 0.5, 0.8
# If so much less of the words is heard than of the tones, it is another session with the same times.
_LEAST_WORDS, _LEAST_WORDS_SHARE = 4, 0.45


@dataclass(frozen=True, slots=True)
class Detection:
    """What was found: stretches in the order of the recording; without any, `why` says why."""

    stretches: tuple[FoundStretch, ...]
    why: str | None = None


def detect(expected: Expected, recording: SampleFile, tell: Callable[[int, int], None]) -> Detection:
    """Where the programme runs in a recording.

    Args:
        expected: the programme.
        recording: at the detector's rate.
        tell: the progress.
    """
    return _Detector(expected, recording).found(tell)


class _Detector:
    def __init__(self, expected: Expected, recording: SampleFile) -> None:
        self.expected, self.recording = expected, recording
        self.placed = placed_pieces(expected, pieces_of(expected))
        self.listener = Listener(expected, self.placed, recording)

    def found(self, tell: Callable[[int, int], None]) -> Detection:
        if not self.placed:
            return Detection((), "the plan has no cue that could be heard; give it calls or counts")
        pairs = self._pairs()
        tell(1, 3)
        found: list[FoundStretch] = []
        for chain in chains(pairs):
            stretch = self._stretch(chain)
            if stretch is not None and not any(_same_line(stretch, other) for other in found):
                found.append(stretch)
        stretches = self._apart(self._on_one_clock(found))
        tell(2, 3)
        likely = [one for one in stretches if self._passes(one, _LEAST_STRETCH, _LEAST_TAKE)]
        sure = [one for one in likely if self._wordless(one) or not self._is_ambiguous(one, pairs, likely)]
        kept = self._kept(sure)
        tell(3, 3)
        if kept:
            return Detection(tuple(kept))
        if len(sure) < len(likely) and not any(self._wordless(one) for one in likely):
            return Detection((), "what is heard fits in several places of the session; record more of it")
        return Detection((), self._why_nothing(likely))

    def _why_nothing(self, stretches: Sequence[FoundStretch]) -> str:
        seconds = self.listener.recording_seconds
        if seconds < _SHORTEST_SECONDS:
            where = "too short to tell where in the session it is"
            return f"the recording lasts {seconds:.1f} s, {where}; record more of it"
        if any(self._wordless(stretch) for stretch in stretches):
            return (
                "tones of this session are heard but hardly any of its words: "
                "it may be another session, level, voice or mix; give the one that was played"
            )
        return (
            "this session is not heard in the recording; give the plan, level, voice and mix that were "
            "played, or a recording from nearer to the loudspeaker"
        )

    def _pairs(self) -> tuple[Pair, ...]:
        every = max(_LEAST_STRETCH_SECONDS, self.expected.seconds / _STRETCHES)
        probes = telling_pieces(self.placed, every)
        places: dict[int, list[float]] = {id(piece): [] for piece in probes}
        for one in self.placed:
            if id(one.piece) in places:
                places[id(one.piece)].append(one.seconds)
        found = sightings(self.recording, probes, [len(places[id(piece)]) for piece in probes])
        return pairs_of(found, places)

    def _stretch(self, chain: Sequence[Pair]) -> FoundStretch | None:
        """The stretch that a chain belongs to, all of it; None if too little of it is heard."""
        line = first_line(
            np.array([pair.recording_seconds for pair in chain]),
            np.array([pair.programme_seconds for pair in chain]),
            MOST_DRIFT,
        )
        first, last = chain[0].programme_seconds, chain[-1].programme_seconds
        return self.listener.along(line, first, last)

    def _is_ambiguous(
        self, stretch: FoundStretch, pairs: Sequence[Pair], take: Sequence[FoundStretch]
    ) -> bool:
        """Whether what is heard in a short stretch of a take fits nearly as well elsewhere in the session."""
        start, end = self._span(stretch)
        if end - start > _AMBIGUOUS_SECONDS:
            return False
        offsets: dict[int, list[Pair]] = {}
        for pair in pairs:
            if start - 1 <= pair.recording_seconds <= end + 1:
                off = pair.programme_seconds - stretch.line.programme_at(pair.recording_seconds)
                if abs(off) > 0.5:
                    offsets.setdefault(round(off * 10), []).append(pair)
        others = sorted(offsets.values(), key=lambda some: -sum(pair.weight for pair in some))
        for some in others[:_MOST_OTHERS]:
            other = self._stretch(some)
            if other is not None and not _same_line(stretch, other):
                heard = [
                    number for number in other.heard if start - 2 <= self._heard_at(other, number) <= end + 2
                ]
                held = any(
                    one is not stretch and 2 * len(one.heard.intersection(heard)) > len(heard) for one in take
                )
                if len(heard) >= (_AS_GOOD_WHERE_HELD if held else _AS_GOOD) * len(stretch.heard):
                    return True
        return False

    def _heard_at(self, stretch: FoundStretch, number: int) -> float:
        return stretch.line.recording_at(self.expected.cue_seconds(number))

    def _span(self, stretch: FoundStretch) -> tuple[float, float]:
        """When in the recording its first heard cue begins and its last begins."""
        return self._heard_at(stretch, min(stretch.heard)), self._heard_at(stretch, max(stretch.heard))

    def _on_one_clock(self, stretches: Sequence[FoundStretch]) -> list[FoundStretch]:
        """The stretches, those of another drift than the surest heard once more with that one's.

        Player and recorder are the same in all of a take; in a room a shorter stretch may seem to drift. One
        of tones alone may follow an echo of them: it is heard once more by its words.
        """
        if not stretches:
            return []
        rate_ppm = max(stretches, key=lambda one: len(one.heard)).line.rate_ppm
        made = []
        for one in stretches:
            if abs(one.line.rate_ppm - rate_ppm) > _SAME_PPM:
                one = self._again(one, rate_ppm, by_words=False)
            if self._wordless(one):
                one = self._again(one, rate_ppm, by_words=True)
            made.append(one)
        return made

    def _again(self, one: FoundStretch, rate_ppm: float, *, by_words: bool) -> FoundStretch:
        """A stretch heard once more at a rate; as it was if less of it is heard so."""
        times = [self.expected.cue_seconds(number) for number in one.heard]
        line = replace(one.line.through((min(times) + max(times)) / 2), rate_ppm=rate_ppm)
        other = self.listener.along(line, min(times), max(times), is_rate_known=True, by_words=by_words)
        return one if other is None or len(other.heard) < _NEARLY_ALL * len(one.heard) else other

    def _apart(self, stretches: Sequence[FoundStretch]) -> list[FoundStretch]:
        """The stretches in the order of the recording, none reaching into the next.

        Two that overlap are cut at the instant at which most of what is heard is in the one before it and in
        the other behind it.
        """
        made: list[FoundStretch] = []
        for one in sorted(stretches, key=lambda each: sum(self._span(each))):
            later: FoundStretch | None = one
            while made and later and self._span(made[-1])[1] > self._span(later)[0]:
                before, later = self._parted(made.pop(), later)
                if before is not None:
                    made.append(before)
                    break
            if later is not None:
                made.append(later)
        return made

    def _parted(
        self, one: FoundStretch, other: FoundStretch
    ) -> tuple[FoundStretch | None, FoundStretch | None]:
        """Two that overlap, each without what belongs to the other; None for what is nothing then."""
        times = [self._heard_at(one, number) for number in one.heard]
        other_times = [self._heard_at(other, number) for number in other.heard]
        edges = sorted({*times, *other_times, max(*times, *other_times) + 1})
        best = max(edges, key=lambda at: sum(t < at for t in times) + sum(t >= at for t in other_times))
        before = _holding(one, lambda number: self._heard_at(one, number) < best)
        behind = _holding(other, lambda number: self._heard_at(other, number) >= best)
        return before, behind

    def _kept(self, stretches: Sequence[FoundStretch]) -> list[FoundStretch]:
        """The stretches whose words are heard, too; none, unless one of them is enough for a take."""
        kept = [one for one in stretches if not self._wordless(one)]
        return kept if any(self._passes(one, _LEAST_TAKE) for one in kept) else []

    def _passes(self, stretch: FoundStretch, *least: tuple[int, float, int]) -> bool:
        """Whether it has the heard cues, their share, and the moments that one of these asks for."""
        return any(
            len(stretch.heard) >= cues
            and stretch.confidence >= share
            and self._moments(stretch) >= min(moments, self._all_moments())
            for cues, share, moments in least
        )

    def _moments(self, stretch: FoundStretch) -> int:
        """How many times apart something is heard."""
        return _moments(sorted(self._heard_at(stretch, number) for number in stretch.heard))

    def _all_moments(self) -> int:
        return _moments([self.expected.cue_seconds(number) for number in range(len(self.expected.cues))])

    def _wordless(self, stretch: FoundStretch) -> bool:
        """Whether its tones are heard, but hardly any of the words that only this session has.

        Those are the announcements, by all of their pieces: they begin alike in many sessions.
        """
        cues, within = self.expected.cues, set(stretch.cues)
        tones = [number in stretch.heard for number in stretch.cues if cues[number].text is None]
        words = [
            is_heard
            for number, is_heard in stretch.pieces
            if number in within and cues[number].kind == "announcement"
        ]
        if len(words) < _LEAST_WORDS or not any(tones):
            return False
        return sum(words) / len(words) < _LEAST_WORDS_SHARE * sum(tones) / len(tones)


def _same_line(one: FoundStretch, other: FoundStretch) -> bool:
    """Whether two stretches are one: they hold the same cues on the same line."""
    shared = one.heard & other.heard
    at = one.line.recording_seconds
    near = abs(one.line.programme_at(at) - other.line.programme_at(at)) < 0.05
    return near and len(shared) >= 0.5 * min(len(one.heard), len(other.heard))


def _holding(stretch: FoundStretch, holds: Callable[[int], bool]) -> FoundStretch | None:
    """What of a stretch lies between its first and its last heard cue for which something holds."""
    heard = frozenset(number for number in stretch.heard if holds(number))
    if not heard:
        return None
    cues = tuple(number for number in stretch.cues if min(heard) <= number <= max(heard))
    return replace(stretch, cues=cues, heard=heard)


def _moments(seconds: Sequence[float]) -> int:
    number, last = 0, -np.inf
    for now in seconds:
        if now - last >= _MOMENT_SECONDS:
            number, last = number + 1, now
    return number
