"""Which stretches of a session a preview holds."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from cuetrack.build_preview import Choice, chosen_stretches
from cuetrack.conform.stretches import LEAST_SKIPPED_SECONDS, Stretch, changeovers, joined, within
from cuetrack.errors import UsageError
from cuetrack.timebase import Duration
from tests.helpers.likely import SAMPLES, likely

RATE_HZ = 48_000


@pytest.mark.parametrize("plan", SAMPLES, ids=lambda plan: plan.stem)
@pytest.mark.parametrize("around_seconds", [0.5, 3, 8])
def test_every_changeover_is_heard_and_no_phrase_is_cut(plan, around_seconds):
    arrangement, around = likely(plan), round(around_seconds * RATE_HZ)
    stretches = changeovers(arrangement, around)
    for phase in arrangement.timeline.phases:
        at = phase.end.to_frame(RATE_HZ)
        first, last = max(0, at - around), min(arrangement.frames, at + around)
        assert any(one.start_frame <= first and last <= one.end_frame for one in stretches)
    for one, two in pairwise(stretches):
        assert two.start_frame - one.end_frame >= 2 * RATE_HZ
    edges = {edge for one in stretches for edge in (one.start_frame, one.end_frame)}
    for placed in arrangement.placed:
        if placed.text is not None:
            assert not any(placed.start_frame < edge < placed.start_frame + placed.frames for edge in edges)


@pytest.mark.parametrize("plan", SAMPLES, ids=lambda plan: plan.stem)
def test_a_session_is_heard_in_a_fraction_of_its_time(plan):
    arrangement = likely(plan)
    heard = sum(one.frames for one in chosen_stretches(arrangement, Choice()))
    assert heard < arrangement.frames / 3


def test_a_part_and_a_move_are_heard_with_their_announcements():
    arrangement = likely(SAMPLES[1])
    whole = Choice(around=None, move="band ROW")
    stretches = chosen_stretches(arrangement, whole)
    # Two rounds, each with the rest before it: the sheet's clocks say 6:50 and 11:30 for the work.
    assert [(one.start_frame, one.end_frame) for one in stretches] == [
        (round(start * RATE_HZ), round(end * RATE_HZ)) for start, end in ((385, 455), (665, 735))
    ]
    # From the rest that ends the warm-up, in which its first move is announced.
    (part,) = chosen_stretches(arrangement, Choice(around=None, part="Circuit"))
    assert (part.start_frame, part.end_frame) == (310 * RATE_HZ, 900 * RATE_HZ)


def test_times_limit_what_is_heard():
    arrangement = likely(SAMPLES[1])
    start, end = (Duration(Fraction(seconds)) for seconds in (60, 120))
    assert chosen_stretches(arrangement, Choice(None, None, None, start, end)) == (
        Stretch(60 * RATE_HZ, 120 * RATE_HZ),
    )
    inside = chosen_stretches(arrangement, Choice(start=start, end=end))
    assert inside
    assert all(60 * RATE_HZ <= one.start_frame < one.end_frame <= 120 * RATE_HZ for one in inside)


@pytest.mark.parametrize(
    ("choice", "told"),
    [
        (Choice(part="Circus"), "did you mean 'Circuit'"),
        (Choice(move="Bend row"), "did you mean 'Band row'"),
        (Choice(start=Duration(Fraction(1200))), "--from has to lie before"),
        (Choice(start=Duration(Fraction(60)), end=Duration(Fraction(60))), "--from has to lie before"),
        (Choice(start=Duration(Fraction(60)), end=Duration(Fraction(70))), "nothing is left"),
    ],
)
def test_a_choice_that_cannot_be_is_told(choice, told):
    with pytest.raises(UsageError, match=told):
        chosen_stretches(likely(SAMPLES[1]), choice)


def test_each_edge_takes_in_the_phrase_that_it_would_cut():
    """The same as looking at every phrase for every edge."""
    arrangement = likely(SAMPLES[1])
    spoken = [one for one in arrangement.placed if one.text is not None]
    for around in range(RATE_HZ // 4, 3 * RATE_HZ, RATE_HZ // 7):
        found = changeovers(arrangement, around)
        by_hand = []
        for phase in arrangement.timeline.phases:
            at = phase.end.to_frame(RATE_HZ)
            edges = max(0, at - around), min(arrangement.frames, at + around)
            by_hand.append(Stretch(*edges))
            by_hand += [
                Stretch(one.start_frame, one.start_frame + one.frames)
                for one in spoken
                if any(one.start_frame < edge < one.start_frame + one.frames for edge in edges)
            ]
        assert found == joined(by_hand, LEAST_SKIPPED_SECONDS * RATE_HZ)


def test_stretches_that_touch_are_one():
    assert joined([Stretch(5, 9), Stretch(0, 4), Stretch(20, 30)], 2) == (Stretch(0, 9), Stretch(20, 30))
    assert within([Stretch(0, 10)], [Stretch(5, 20), Stretch(30, 40)]) == (Stretch(5, 10),)
