"""Sightings → the stretches in which a recording follows the programme: the chain that explains most.

Every sighting is a pair of times, in the recording and in the programme. Pairs of one stretch lie on one
line; a jump to another line (a pause, a repeat, a skip) costs as much as some sightings are worth, so what
occurs in every round is taken for the round that goes on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cuetrack.take.search import Sighting

# Clocks of sound cards and cameras lie within 100 ppm each (common practice, no source).
MOST_DRIFT = 300e-6
_ROOM_SECONDS = 0.02
_JUMP_COST = 4.0
_MOST_PAIRS = 4_000
_SURE_SCORE = 14.0


@dataclass(frozen=True, slots=True)
class Pair:
    """A time in the recording and the time in the programme that may be heard there."""

    recording_seconds: float
    programme_seconds: float
    weight: float


def pairs_of(sightings: Sequence[Sighting], places: Mapping[int, Sequence[float]]) -> tuple[Pair, ...]:
    """Every pair of a sighting and a place of its piece in the programme; `places` by the piece's id."""
    made = [
        Pair(
            sighting.seconds,
            place,
            min(sighting.score, _SURE_SCORE) / 5 / len(places[id(sighting.piece)]) ** 0.5,
        )
        for sighting in sightings
        for place in places[id(sighting.piece)]
    ]
    best = sorted(made, key=lambda pair: -pair.weight)[:_MOST_PAIRS]
    return tuple(sorted(best, key=lambda pair: (pair.recording_seconds, pair.programme_seconds)))


def chains(pairs: Sequence[Pair]) -> list[tuple[Pair, ...]]:
    """The stretches of the best chain, in the order of the recording; each of two pairs or more."""
    if not pairs:
        return []
    recording = np.array([pair.recording_seconds for pair in pairs])
    programme = np.array([pair.programme_seconds for pair in pairs])
    weight = np.array([pair.weight for pair in pairs])
    best, before = _best_chain(recording, programme, weight)
    order: list[int] = []
    now = int(best.argmax())
    while now >= 0:
        order.append(now)
        now = int(before[now])
    order.reverse()
    made: list[list[Pair]] = []
    for index in order:
        pair = pairs[index]
        if made and _on_one_line(made[-1][-1], pair):
            made[-1].append(pair)
        else:
            made.append([pair])
    return [tuple(chain) for chain in made if len(chain) > 1]


def _best_chain(
    recording: NDArray[np.float64], programme: NDArray[np.float64], weight: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """The value of the best chain that ends in each pair, and the pair before it there; -1 for none."""
    value, before = weight.copy(), np.full(len(weight), -1, np.intp)
    for now in range(1, len(weight)):
        apart = recording[now] - recording[:now]
        drift = np.abs((programme[now] - programme[:now]) - apart)
        cost = np.where(drift <= _ROOM_SECONDS + MOST_DRIFT * apart, 0.0, _JUMP_COST)
        reached = np.where(apart > 0, value[:now] - cost, -np.inf)
        best = int(reached.argmax())
        if reached[best] > 0:
            value[now] += reached[best]
            before[now] = best
    return value, before


def _on_one_line(one: Pair, other: Pair) -> bool:
    apart = other.recording_seconds - one.recording_seconds
    drift = abs(other.programme_seconds - one.programme_seconds - apart)
    return drift <= _ROOM_SECONDS + MOST_DRIFT * apart
