"""A file whose cues may be anywhere → about how late each of them is, so that it can be looked for there.

The one detector knows how a room sounds, but says nothing where a short or steady session fits in several
places. A file is told apart from such a take by being clean: here each sound votes for every lateness that
would put it where it is heard, and the cues are led along those with most votes. They keep their order in the
file and change over seldom; of two ways that explain as much the one nearer to the plan is taken.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from cuetrack.take.expected import ExpectedCue
from cuetrack.take.pieces import Piece
from cuetrack.take.samples import SampleFile

# A sound is heard where it is as like as this; two of a kind are no nearer to each other.
_HEARD_LIKENESS, _APART_SECONDS = 0.7, 0.05
# Votes are counted in bins of so many seconds.
_BIN_SECONDS = 0.02
_MOST_SOUNDS, _MOST_TIMES, _MOST_HITS, _MOST_LATES = 12, 400, 2_000, 40
# Changing over to another lateness costs as much as so many cues that are not where it says.
_CHANGE_COST = 2.5
# Of two that explain as much the nearer one.
_COST_PER_SECOND = 1e-3
_BLOCK_FRAMES = 1 << 20


def voted_lateness(
    cues: Sequence[ExpectedCue], rate_hz: int, pieces: Mapping[str, tuple[Piece, ...]], heard: SampleFile
) -> Callable[[ExpectedCue], int] | None:
    """How many frames of the programme late a cue is, about; None if nothing is heard.

    Args:
        cues: of the programme, in order.
        rate_hz: of the programme.
        pieces: the cues' sounds, at the rate of `heard`.
        heard: the file.
    """
    voting = _voting(cues, pieces)
    hits = {key: _hits(pieces[key][0], heard) for key in {cue.sound for cue in voting}}
    lates = [
        hits[cue.sound] - pieces[cue.sound][0].offset_seconds - cue.start_frame / rate_hz for cue in voting
    ]
    votes = Counter(int(bin_) for late in lates for bin_ in np.unique(np.round(late / _BIN_SECONDS)))
    chosen = np.array([bin_ * _BIN_SECONDS for bin_, _ in votes.most_common(_MOST_LATES)])
    if not len(chosen):
        return None
    fits = np.array([_fit(late, chosen) for late in lates])
    starts = np.array([cue.start_frame for cue in voting])
    path = _led(fits, starts / rate_hz, chosen)

    def late_frames(cue: ExpectedCue) -> int:
        nearest = int(np.abs(starts - cue.start_frame).argmin())
        return round(float(chosen[path[nearest]]) * rate_hz)

    return late_frames


def _voting(cues: Sequence[ExpectedCue], pieces: Mapping[str, tuple[Piece, ...]]) -> list[ExpectedCue]:
    """The cues of few sounds, wordless ones first; those that occur all the time tell nothing."""
    times = Counter(cue.sound for cue in cues if pieces.get(cue.sound))
    spoken = {cue.sound for cue in cues if cue.text is not None}
    usable = sorted(
        (sound for sound in times if times[sound] <= _MOST_TIMES),
        key=lambda one: (one in spoken, -times[one]),
    )
    chosen = frozenset(usable[:_MOST_SOUNDS])
    return [cue for cue in cues if cue.sound in chosen]


def _hits(piece: Piece, heard: SampleFile) -> NDArray[np.float64]:
    """The seconds of the file at which a sound is heard to begin."""
    from scipy.ndimage import maximum_filter1d
    from scipy.signal import fftconvolve

    wanted, frames = piece.samples.astype(np.float64), len(piece.samples)
    energy, apart = float(np.linalg.norm(wanted)), 2 * round(_APART_SECONDS * heard.rate_hz) + 1
    found = []
    for start in range(0, heard.frames, _BLOCK_FRAMES):
        window = heard.read(start - apart, _BLOCK_FRAMES + frames + 2 * apart).astype(np.float64)
        summed = np.concatenate([[0.0], np.cumsum(window**2)])
        local = np.sqrt(np.maximum(summed[frames:] - summed[:-frames], 1e-9))
        like = fftconvolve(window, wanted[::-1], "valid") / (energy * local)
        peaks = np.flatnonzero((like >= _HEARD_LIKENESS) & (like == maximum_filter1d(like, apart)))
        inside = peaks[(peaks >= apart) & (peaks < apart + _BLOCK_FRAMES)]
        found.append((inside + start - apart) / heard.rate_hz)
    return np.concatenate(found)[:_MOST_HITS] if found else np.empty(0)


def _fit(late: NDArray[np.float64], chosen: NDArray[np.float64]) -> NDArray[np.float64]:
    """For each chosen lateness 1 if a cue is heard there, falling to 0 a bin further."""
    if not len(late):
        return np.zeros(len(chosen))
    off = np.abs(late[:, np.newaxis] - chosen).min(axis=0) / _BIN_SECONDS
    return np.asarray(np.clip(1.5 - off, 0.0, 1.0))


def _led(fits: NDArray[np.float64], seconds: NDArray[np.float64], chosen: NDArray[np.float64]) -> list[int]:
    """For each cue which lateness, so that most fit and it changes seldom (Viterbi)."""
    costs, same = _COST_PER_SECOND * np.abs(chosen), np.eye(len(chosen), dtype=bool)
    total, came_from = fits[0] - costs, []
    for fit, apart in zip(fits[1:], np.diff(seconds), strict=True):
        in_order = chosen[np.newaxis] - chosen[:, np.newaxis] > -apart
        moves = total[:, np.newaxis] - np.where(same, 0.0, np.where(in_order, _CHANGE_COST, np.inf))
        came_from.append(moves.argmax(axis=0))
        total = moves.max(axis=0) + fit - costs
    path = [int(total.argmax())]
    for before in reversed(came_from):
        path.append(int(before[path[-1]]))
    return path[::-1]
