"""Pairs of times, some of them wrong → stretches, as the coach went through the session."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.take.chain import Pair, chains

ROUND_SECONDS = 60.0


def pairs(*stretches: tuple[float, float, float], rounds: int = 1, seed: int = 1) -> list[Pair]:
    """Pairs along stretches (recording start, programme start, seconds), and wrong ones all over.

    Each true one occurs in every round of the programme, too, as what is said in each round does.
    """
    chance = np.random.default_rng(seed)
    made = []
    for recording, programme, seconds in stretches:
        for at in np.arange(1, seconds, 9.0):
            made.append(Pair(recording + at, programme + at + chance.normal(0, 0.001), 2.5))
            made += [
                Pair(recording + at, programme + at + number * ROUND_SECONDS, 2.5)
                for number in range(1, rounds)
            ]
    made += [Pair(*chance.uniform(0, 600, 2), 1.2) for _ in range(30)]
    return sorted(made, key=lambda pair: (pair.recording_seconds, pair.programme_seconds))


def lines(found: list[tuple[Pair, ...]], least: int = 4) -> list[int]:
    """The whole seconds by which each longer chain is behind the programme."""
    return [
        round(chain[0].recording_seconds - chain[0].programme_seconds)
        for chain in found
        if len(chain) >= least
    ]


@pytest.mark.parametrize(
    ("stretches", "behind"),
    [
        (((10.0, 0.0, 500.0),), [10]),
        (((10.0, 0.0, 200.0), (240.0, 200.0, 200.0)), [10, 40]),  # paused
        (((10.0, 0.0, 200.0), (212.0, 100.0, 200.0)), [10, 112]),  # went back
        (((10.0, 0.0, 200.0), (212.0, 300.0, 200.0)), [10, -88]),  # skipped
    ],
)
def test_the_way_through_the_session_is_found(
    stretches: tuple[tuple[float, float, float], ...], behind: list[int]
) -> None:
    assert lines(chains(pairs(*stretches))) == behind


def test_what_is_said_in_every_round_belongs_to_the_round_that_goes_on() -> None:
    found = chains(pairs((10.0, 0.0, 500.0), rounds=3))
    assert len([chain for chain in found if len(chain) > 20]) == 1


def test_nothing_makes_no_chain() -> None:
    assert chains([]) == []
    assert chains([Pair(1.0, 2.0, 3.0)]) == []
