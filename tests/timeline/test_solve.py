"""Flexible times fill the promised total exactly, evenly and near what was preferred.

Held against brute force on small plans, an independent solver on 1,000 random ones, and plain tables on large
ones.
"""

from __future__ import annotations

import random
from heapq import heapify, heappop, heappush
from itertools import combinations_with_replacement, product

import numpy as np
import pytest
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from cuetrack.timeline.solve import Kind, Solution, solved
from tests.helpers.plans import given_examples

Seconds = tuple[tuple[int, ...], ...]


def kind(count: int, shortest: int, longest: int, preferred: int) -> Kind:
    return Kind("rest between sets", count, shortest, longest, preferred)


def uneven(seconds: Seconds) -> int:
    return sum(len(set(of_kind)) > 1 for of_kind in seconds)


def squared_change(kinds: list[Kind], seconds: Seconds) -> int:
    return sum((s - k.preferred) ** 2 for k, of_kind in zip(kinds, seconds, strict=True) for s in of_kind)


def limits(kinds: list[Kind]) -> tuple[int, int]:
    return sum(k.count * k.shortest for k in kinds), sum(k.count * k.longest for k in kinds)


def assert_is_allowed(kinds: list[Kind], total_seconds: int, solution: Solution | None) -> Seconds:
    """The sum, the limits and how much occurrences of a kind differ; gives the seconds."""
    assert solution is not None
    for k, of_kind in zip(kinds, solution.seconds, strict=True):
        assert len(of_kind) == k.count
        assert k.shortest <= min(of_kind) <= max(of_kind) <= min(of_kind) + 1
        assert max(of_kind) <= k.longest
        assert list(of_kind) == sorted(of_kind)
    assert sum(map(sum, solution.seconds)) == total_seconds
    return solution.seconds


@st.composite
def kinds_and_total(
    draw: st.DrawFn, most_kinds: int, most_count: int, most_range: int
) -> tuple[list[Kind], int]:
    kinds = []
    for _ in range(draw(st.integers(1, most_kinds))):
        shortest = draw(st.integers(0, 6))
        longest = shortest + draw(st.integers(0, most_range))
        preferred = draw(st.integers(shortest, longest))
        kinds.append(kind(draw(st.integers(1, most_count)), shortest, longest, preferred))
    return kinds, draw(st.integers(*limits(kinds)))


def by_brute_force(kinds: list[Kind], total_seconds: int) -> Seconds:
    """All ways there are, each judged by the rules as they are written."""

    def ways(k: Kind) -> list[tuple[int, ...]]:
        every = combinations_with_replacement(range(k.shortest, k.longest + 1), k.count)
        return [way for way in every if way[-1] - way[0] <= 1]

    def rank(seconds: Seconds) -> tuple[int, int, list[int]]:
        return uneven(seconds), squared_change(kinds, seconds), [-sum(of_kind) for of_kind in seconds]

    fitting = (way for way in product(*map(ways, kinds)) if sum(map(sum, way)) == total_seconds)
    return min(fitting, key=rank)


@given_examples(250)(kinds_and_total(most_kinds=4, most_count=4, most_range=4))
def test_small_plans_come_out_as_by_brute_force(drawn: tuple[list[Kind], int]) -> None:
    kinds, total_seconds = drawn
    seconds = assert_is_allowed(kinds, total_seconds, solved(kinds, total_seconds))
    assert seconds == by_brute_force(kinds, total_seconds)


@given_examples(150)(kinds_and_total(most_kinds=2, most_count=9, most_range=30))
def test_two_kinds_with_wide_ranges_come_out_as_by_brute_force(drawn: tuple[list[Kind], int]) -> None:
    """Where counts share no divisor, an even answer can be far from the preferred times."""
    kinds, total_seconds = drawn
    seconds = assert_is_allowed(kinds, total_seconds, solved(kinds, total_seconds))
    totals = [range(k.count * k.shortest, k.count * k.longest + 1) for k in kinds]

    def spread(k: Kind, total: int) -> tuple[int, ...]:
        return tuple((total + place) // k.count for place in range(k.count))

    ways = [
        tuple(spread(k, total) for k, total in zip(kinds, chosen, strict=True))
        for chosen in product(*totals)
        if sum(chosen) == total_seconds
    ]
    assert seconds == min(
        ways, key=lambda way: (uneven(way), squared_change(kinds, way), [-sum(of_kind) for of_kind in way])
    )


def random_kinds(rng: random.Random) -> list[Kind]:
    kinds = []
    for _ in range(rng.randint(1, 4)):
        shortest = rng.randint(5, 30)
        longest = shortest + rng.randint(1, 6)
        kinds.append(kind(rng.randint(1, 10), shortest, longest, rng.randint(shortest, longest)))
    return kinds


def by_milp(kinds: list[Kind], total_seconds: int) -> tuple[int, int]:
    """How many kinds are uneven, and the squared change, by the HiGHS solver behind `scipy.optimize.milp`.

    Each further second of a kind is two unknowns: whether all occurrences have it, and how many have it
    otherwise, which only an uneven kind may do. Its cost grows from second to second, so the cheapest answer
    takes them in order. An uneven kind costs more than all changes together.
    """
    squares = [(k.preferred - k.shortest) ** 2 * k.count for k in kinds]
    dearest = 1 + sum(k.count * (k.longest - k.shortest) ** 2 for k in kinds)
    steps = [(i, s) for i, k in enumerate(kinds) for s in range(k.shortest, k.longest)]
    owner = np.array([i for i, _ in steps], dtype=int)
    counts = np.array([kinds[i].count for i in owner], dtype=float)
    cost = np.array([2 * (s - kinds[i].preferred) + 1 for i, s in steps], dtype=float)
    n, many = len(steps), len(kinds)
    filled = np.concatenate([counts, np.ones(n), np.zeros(many)])
    of_owner = np.zeros((n, many))
    of_owner[np.arange(n), owner] = 1
    once = np.hstack([np.diag(counts), np.eye(n), np.zeros((n, many))])  # no more than all occurrences
    only_uneven = np.hstack([np.zeros((n, n)), np.eye(n), -of_owner * (counts - 1)[:, None]])
    result = milp(
        np.concatenate([cost * counts, cost, np.full(many, float(dearest))]),
        integrality=np.ones(2 * n + many),
        bounds=Bounds(0, np.concatenate([np.ones(n), counts - 1, np.ones(many)])),
        constraints=[
            LinearConstraint(filled[None, :], *(2 * [total_seconds - limits(kinds)[0]])),
            LinearConstraint(once, ub=counts),
            LinearConstraint(only_uneven, ub=0),
        ],
        options={"mip_rel_gap": 0},
    )
    assert result.success, result.message
    uneven_kinds, change = divmod(round(result.fun) + sum(squares), dearest)
    return uneven_kinds, change


@pytest.mark.parametrize("seed", range(10))
def test_a_hundred_random_plans_reach_the_optimum_of_an_independent_solver(seed: int) -> None:
    rng = random.Random(seed)
    for _ in range(100):
        kinds = random_kinds(rng)
        total_seconds = rng.randint(*limits(kinds))
        seconds = assert_is_allowed(kinds, total_seconds, solved(kinds, total_seconds))
        assert (uneven(seconds), squared_change(kinds, seconds)) == by_milp(kinds, total_seconds)


def least_squared_change(kinds: list[Kind], total_seconds: int) -> int:
    """The least when occurrences need not be alike: second by second, where the next one costs least."""
    offers = [
        (2 * (k.shortest - k.preferred) + 1, k.longest - k.shortest)
        for k in kinds
        if k.longest > k.shortest
        for _ in range(k.count)
    ]
    heapify(offers)
    change = sum(k.count * (k.shortest - k.preferred) ** 2 for k in kinds)
    for _ in range(total_seconds - limits(kinds)[0]):
        cost, left = heappop(offers)
        change += cost
        if left > 1:
            heappush(offers, (cost + 2, left - 1))
    return change


def least_even_change(kinds: list[Kind], total_seconds: int) -> int | None:
    """The least when all occurrences of a kind are equal, from a table of every total; None: no way."""
    none = np.iinfo(np.int64).max // 2
    least = np.full(total_seconds + 1, none)
    least[0] = 0
    for k in kinds:
        with_kind = np.full_like(least, none)
        for seconds in range(k.shortest, min(k.longest, total_seconds // k.count) + 1):
            added = least[: total_seconds + 1 - k.count * seconds] + k.count * (seconds - k.preferred) ** 2
            np.minimum(with_kind[k.count * seconds :], added, out=with_kind[k.count * seconds :])
        least = with_kind
    return int(least[-1]) if least[-1] < none else None


def large_kinds(rng: random.Random, counts: list[int]) -> list[Kind]:
    """Up to 24 hours when every occurrence is as long as it may be."""
    kinds = []
    for count in counts:
        shortest = rng.randint(0, 40)
        longest = shortest + rng.randint(1, 46)
        kinds.append(kind(count, shortest, longest, rng.randint(shortest, longest)))
    return kinds


LARGE = {
    "200 alike": [5] * 200,
    "all but one divisible by three": [100, *range(3, 73, 3)],
    "all but one divisible by seven": [*range(7, 106, 7), 30],
    "two": [500, 499],
    "three": [400, 301, 299],
    "single ones beside many": [997, 2, 1],
    "many different": list(range(1, 45)),
}


@pytest.mark.parametrize("counts", LARGE.values(), ids=LARGE)
def test_large_plans_reach_the_optimum(counts: list[int]) -> None:
    """Up to 1000 flexible times and 200 kinds, against plain tables."""
    rng = random.Random(len(counts))
    for _ in range(3):
        kinds = large_kinds(rng, counts)
        total_seconds = rng.randint(*limits(kinds))
        seconds = assert_is_allowed(kinds, total_seconds, solved(kinds, total_seconds))
        even = least_even_change(kinds, total_seconds)
        found = uneven(seconds), squared_change(kinds, seconds)
        assert found == ((0, even) if even is not None else (1, least_squared_change(kinds, total_seconds)))


def test_times_without_limit_up_to_a_day_are_solved() -> None:
    kinds = [kind(401, 0, 86_400, 30), kind(300, 0, 86_400, 10), kind(299, 0, 86_400, 10)]
    assert_is_allowed(kinds, 86_400, solved(kinds, 86_400))


def test_what_is_preferred_stays_when_it_fills_the_total() -> None:
    kinds = [kind(3, 20, 40, 25), kind(2, 10, 90, 45)]
    assert solved(kinds, 165) == Solution(((25, 25, 25), (45, 45)))


def test_an_even_answer_comes_before_a_nearer_one() -> None:
    """One second more, for times done 3 and 2 times: a second each way instead of one that differs."""
    kinds = [kind(3, 20, 40, 30), kind(2, 20, 40, 30)]
    assert solved(kinds, 151) == Solution(((31, 31, 31), (29, 29)))


def test_where_no_even_answer_exists_one_kind_differs() -> None:
    kinds = [kind(3, 30, 30, 30), kind(2, 20, 40, 30)]
    assert solved(kinds, 151) == Solution(((30, 30, 30), (30, 31)))


def test_of_equal_answers_the_first_kind_gets_more() -> None:
    three = [kind(1, 20, 40, 30)] * 3
    assert solved(three, 92) == Solution(((31,), (31,), (30,)))
    assert solved(three, 88) == Solution(((30,), (29,), (29,)))


def test_in_a_kind_the_later_ones_are_longer() -> None:
    assert solved([kind(4, 20, 40, 30)], 122) == Solution(((30, 30, 31, 31),))
    assert solved([kind(4, 20, 40, 30)], 118) == Solution(((29, 29, 30, 30),))


def test_a_kind_at_its_limit_leaves_the_rest_to_the_others() -> None:
    assert solved([kind(2, 20, 32, 30), kind(2, 20, 60, 30)], 160) == Solution(((32, 32), (48, 48)))


@given_examples(100)(kinds_and_total(most_kinds=5, most_count=6, most_range=9), st.integers(1, 9))
def test_what_lies_beyond_the_limits_cannot_be_met(drawn: tuple[list[Kind], int], beyond: int) -> None:
    kinds, _ = drawn
    shortest, longest = limits(kinds)
    assert solved(kinds, shortest - beyond) is None
    assert solved(kinds, longest + beyond) is None
    for end in (shortest, longest):
        assert_is_allowed(kinds, end, solved(kinds, end))


def test_no_flexible_time_fills_nothing() -> None:
    assert solved([], 0) == Solution(())
    assert solved([], 1) is None


@pytest.mark.parametrize("times", [(0, 1, 2, 1), (1, -1, 2, 1), (1, 3, 2, 3), (1, 1, 2, 0), (1, 1, 2, 3)])
def test_a_kind_of_impossible_times_is_refused(times: tuple[int, int, int, int]) -> None:
    with pytest.raises(ValueError, match="no times can be chosen for Kind"):
        kind(*times)
