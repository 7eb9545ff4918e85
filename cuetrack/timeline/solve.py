"""Flexible times and a promised total → whole seconds for each of them: as even, then as near as possible.

In: kinds of flexible times (`Kind`) and the seconds they have to fill together. Out: `Solution`, or None.
Within a kind, occurrences differ by a second at most. Best means, in this order:

1. As few kinds as possible whose occurrences are not all equal.
2. The least sum, over all occurrences, of the squared change from the preferred time in seconds.
3. Of answers that are equally good, the one that gives more to the first kind, then to the second, and so on.
   Within a kind the later occurrences are the longer ones.

At most one kind is ever uneven: lengthening one kind after the other leaves at most one half done.

How: change every occurrence by the same `k` seconds within its limits, with the largest `k` that does not
fill too much. What is left is less than going to `k + 1` would take, and there each second adds 2k + 1 to the
sum of squares; no occurrence offers its next second for less, or saves more by giving one back. So the price
of a choice is what it adds beyond 2k + 1 a second. It is never negative, `k` and `k + 1` are free, and as all
answers fill the same total, the lowest price means the least sum of squares (Everett's multipliers,
Operations Research 11, 1963, from memory). An uneven answer is therefore free, and the price of an even one
limits how far each kind can be from `k`, which keeps the exact search for it small.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from cuetrack.errors import Place


@dataclass(frozen=True, slots=True)
class Kind:
    """Flexible times that belong together: the same line of the plan, in every round.

    Times are whole seconds, 0 <= shortest <= preferred <= longest, and `shortest` already has room for what
    is said in that time. `name` and `place` are for messages; the solver reads neither.

    Raises:
        ValueError: `count` is less than 1, or the times are not in this order.
    """

    name: str
    count: int
    shortest: int
    longest: int
    preferred: int
    place: Place | None = None

    def __post_init__(self) -> None:
        if self.count < 1 or not 0 <= self.shortest <= self.preferred <= self.longest:
            raise ValueError(f"no times can be chosen for {self}")


@dataclass(frozen=True, slots=True)
class Solution:
    """The chosen whole seconds: one tuple a kind, in the order given; in it one number an occurrence."""

    seconds: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class _Choice:
    """Every occurrence of a kind lasts `seconds`."""

    seconds: int
    total_seconds: int
    price: int


def solved(kinds: Sequence[Kind], total_seconds: int) -> Solution | None:
    """The best seconds (see the module) that add up to `total_seconds` exactly.

    None when the total is less than all shortest times together or more than all longest; every total between
    can be met. No kinds at all fill zero seconds.

    >>> sets = Kind("rest between sets", count=3, shortest=20, longest=40, preferred=30)
    >>> moves = Kind("rest after a move", count=2, shortest=10, longest=30, preferred=15)
    >>> solved([sets, moves], 122)  # 2 s more than preferred
    Solution(seconds=((30, 30, 30), (16, 16)))
    >>> solved([sets], 92)
    Solution(seconds=((30, 31, 31),))
    >>> solved([sets], 121) is None
    True
    """
    shortest = sum(kind.count * kind.shortest for kind in kinds)
    longest = sum(kind.count * kind.longest for kind in kinds)
    if not shortest <= total_seconds <= longest:
        return None
    if not kinds:
        return Solution(())
    change = _common_change(kinds, total_seconds)
    even = _even_seconds(kinds, total_seconds, change)
    if even is None:
        return _one_uneven(kinds, total_seconds, change)
    return Solution(tuple((seconds,) * kind.count for kind, seconds in zip(kinds, even, strict=True)))


def near_common_change(kinds: Sequence[Kind], total_seconds: int) -> tuple[Kind, ...]:
    """The kinds with limits a second around the change that is the same for all.

    An even answer further away would give up the preferred times for evenness alone. Every total that the
    kinds can fill, they still can.

    >>> short = Kind("short rest", count=11, shortest=10, longest=20, preferred=15)
    >>> long = Kind("long rest", count=12, shortest=30, longest=60, preferred=45)
    >>> [seconds[0] for seconds in solved([short, long], 818).seconds]
    [10, 59]
    >>> solved(near_common_change([short, long], 818), 818).seconds[1]
    (49, 49, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50)
    """
    filled = total_seconds - sum(kind.count * kind.shortest for kind in kinds)
    if not kinds or filled < 0 or filled > sum(kind.count * (kind.longest - kind.shortest) for kind in kinds):
        return tuple(kinds)
    change = _common_change(kinds, total_seconds)
    narrowed = []
    for kind in kinds:
        low, high = _changed(kind, change - 1), _changed(kind, change + 2)
        preferred = min(max(kind.preferred, low), high)
        narrowed.append(replace(kind, shortest=low, longest=high, preferred=preferred))
    return tuple(narrowed)


def even_totals(kinds: Sequence[Kind], limit_seconds: int) -> int:
    """The totals up to a limit that can be filled with equal occurrences, as the set bits of a number.

    >>> bin(even_totals([Kind("rest", count=2, shortest=1, longest=3, preferred=2)], 9))
    '0b1010100'
    """
    seconds = [range(kind.shortest, kind.longest + 1) for kind in kinds]
    return _reachable(kinds, seconds, limit_seconds)[-1] & ((1 << limit_seconds + 1) - 1)


def _changed(kind: Kind, change: int) -> int:
    """The preferred seconds, changed as far as the limits allow."""
    return min(max(kind.preferred + change, kind.shortest), kind.longest)


def _common_change(kinds: Sequence[Kind], total_seconds: int) -> int:
    """The largest change, the same for every occurrence, with which no more than the total is filled."""
    least = min(kind.shortest - kind.preferred for kind in kinds)
    most = max(kind.longest - kind.preferred for kind in kinds)

    def filled_seconds(change: int) -> int:
        return sum(kind.count * _changed(kind, change) for kind in kinds)

    return least + bisect_right(range(least, most + 1), total_seconds, key=filled_seconds) - 1


def _one_uneven(kinds: Sequence[Kind], total_seconds: int, change: int) -> Solution:
    """One kind after the other gets the free second until nothing is left; the last gets it in part."""
    left = total_seconds - sum(kind.count * _changed(kind, change) for kind in kinds)
    seconds: list[tuple[int, ...]] = []
    for kind in kinds:
        low, high = _changed(kind, change), _changed(kind, change + 1)
        raised = min(kind.count, left) if high > low else 0
        seconds.append((low,) * (kind.count - raised) + (high,) * raised)
        left -= raised
    return Solution(tuple(seconds))


def _even_seconds(kinds: Sequence[Kind], total_seconds: int, change: int) -> list[int] | None:
    """Seconds of each kind when all its occurrences are equal; None where that cannot fill the total."""
    whole = [range(kind.shortest, kind.longest + 1) for kind in kinds]
    if not _reaches(_reachable(kinds, whole, total_seconds)[-1], total_seconds):
        return None
    budget = 0
    while (found := _within_budget(kinds, total_seconds, change, budget)) is None:
        budget = 2 * budget + 2  # prices are even
    return found


def _within_budget(kinds: Sequence[Kind], total_seconds: int, change: int, budget: int) -> list[int] | None:
    """The best even seconds at a price up to `budget`, by dynamic programming from the last kind on."""
    choices = [_affordable(kind, change, budget) for kind in kinds]
    near = [range(few[0].seconds, few[-1].seconds + 1) for few in choices]
    before = _reachable(kinds, near, total_seconds)
    if not _reaches(before[-1], total_seconds):
        return None
    prices = [{0: 0}]  # for each kind: seconds filled by it and those after it → least price
    for few, reachable in zip(reversed(choices), reversed(before[:-1]), strict=True):
        filled = _filled_with(prices[-1], few, budget)
        prices.append({s: p for s, p in filled.items() if _reaches(reachable, total_seconds - s)})
    prices.reverse()
    if total_seconds not in prices[0]:
        return None
    return list(_longest_first(choices, prices, total_seconds))


def _affordable(kind: Kind, change: int, budget: int) -> list[_Choice]:
    """The choices whose price is not above `budget`, shortest first; the price of the best one is zero."""
    best = _changed(kind, change)

    def worth(seconds: int) -> int:
        by = seconds - kind.preferred
        return kind.count * by * (by - 2 * change - 1)

    def price(seconds: int) -> int:
        return worth(seconds) - worth(best)

    fewer = bisect_right(range(best, kind.shortest - 1, -1), budget, key=price) - 1
    more = bisect_right(range(best, kind.longest + 1), budget, key=price) - 1
    return [_Choice(s, s * kind.count, price(s)) for s in range(best - fewer, best + more + 1)]


def _filled_with(prices: dict[int, int], choices: list[_Choice], budget: int) -> dict[int, int]:
    """The least price of each sum that is filled by one of `choices` and what `prices` holds."""
    filled: dict[int, int] = {}
    cheapest_first = sorted(choices, key=lambda choice: choice.price)
    for seconds, price in prices.items():
        for choice in cheapest_first:
            total_price = price + choice.price
            if total_price > budget:
                break
            total = seconds + choice.total_seconds
            if total_price < filled.get(total, budget + 1):
                filled[total] = total_price
    return filled


def _longest_first(
    choices: list[list[_Choice]], prices: list[dict[int, int]], total_seconds: int
) -> Iterator[int]:
    """Of the cheapest answers, the seconds of the one with the longest first kind, then second, and so on."""
    left = total_seconds
    for few, price_here, price_after in zip(choices, prices[:-1], prices[1:], strict=True):
        chosen = next(
            choice
            for choice in reversed(few)
            if price_after.get(left - choice.total_seconds) == price_here[left] - choice.price
        )
        left -= chosen.total_seconds
        yield chosen.seconds


def _reachable(kinds: Sequence[Kind], seconds: Sequence[range], limit_seconds: int) -> list[int]:
    """Before the first kind and after each: the totals even kinds can fill, as the set bits of a number."""
    within_limit = (1 << limit_seconds + 1) - 1

    def with_kind(bits: int, kind_and_seconds: tuple[Kind, range]) -> int:
        kind, chosen = kind_and_seconds
        bits <<= kind.count * chosen.start
        done = 1  # the bits hold this many of the chosen seconds
        while done < len(chosen) and kind.count * done <= limit_seconds:
            step = min(done, len(chosen) - done)
            bits = (bits | bits << kind.count * step) & within_limit
            done += step
        return bits

    return list(accumulate(zip(kinds, seconds, strict=True), with_kind, initial=1))


def _reaches(bits: int, total_seconds: int) -> bool:
    return total_seconds >= 0 and bool(bits >> total_seconds & 1)
