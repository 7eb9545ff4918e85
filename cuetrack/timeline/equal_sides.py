"""Kinds of flexible times, some of them the sides of moves → whole seconds that are equal on both sides.

A kind with sides has one length for all its occurrences. Where the seconds that are left over do not divide
among them, they go to a kind without sides.
"""

from __future__ import annotations

from collections.abc import Sequence

from cuetrack.timeline.solve import Kind, Solution, even_totals, near_common_change, solved


def solved_with_equal_sides(
    kinds: Sequence[Kind], is_sided: Sequence[bool], total_seconds: int
) -> Solution | None:
    """Seconds that fill the total, near to what is preferred; None where none do.

    >>> press = Kind("work at 'Press'", count=2, shortest=20, longest=40, preferred=30)
    >>> rest = Kind("rest", count=1, shortest=10, longest=30, preferred=15)
    >>> solved_with_equal_sides([press, rest], [True, False], 76)
    Solution(seconds=((30, 30), (16,)))
    >>> solved_with_equal_sides([press], [True], 61) is None
    True
    """
    near = near_common_change(kinds, total_seconds)
    solution = solved(near, total_seconds)
    if solution is None or not any(
        sided and min(seconds) < max(seconds)
        for sided, seconds in zip(is_sided, solution.seconds, strict=True)
    ):
        return solution
    wanted = sum(sum(seconds) for sided, seconds in zip(is_sided, solution.seconds, strict=True) if sided)
    others = [kind for kind, sided in zip(kinds, is_sided, strict=True) if not sided]
    # First with sides near to the common change, then with any.
    for among in (near, kinds):
        with_sides = [kind for kind, sided in zip(among, is_sided, strict=True) if sided]
        answers = [
            _joined(is_sided, solved(with_sides, seconds), _solved_near(others, total_seconds - seconds))
            for seconds in _nearest_even_totals(with_sides, others, total_seconds, wanted)
        ]
        if answers:
            return min(answers, key=lambda answer: _cost(kinds, answer))
    return None


def _nearest_even_totals(
    sided: Sequence[Kind], others: Sequence[Kind], total_seconds: int, wanted: int
) -> list[int]:
    """What equal sides can fill nearest to `wanted`, below and above, if the others can fill the rest."""
    least = max(0, total_seconds - sum(kind.count * kind.longest for kind in others))
    most = total_seconds - sum(kind.count * kind.shortest for kind in others)
    if most < least:
        return []
    possible = even_totals(sided, most) >> least << least
    below = possible & ((1 << wanted + 1) - 1)
    above = possible >> wanted << wanted
    return sorted(
        {
            *([below.bit_length() - 1] if below else []),
            *([(above & -above).bit_length() - 1] if above else []),
        }
    )


def _solved_near(kinds: Sequence[Kind], total_seconds: int) -> Solution | None:
    return solved(near_common_change(kinds, total_seconds), total_seconds)


def _joined(is_sided: Sequence[bool], sided: Solution | None, others: Solution | None) -> Solution:
    """Both answers as one, in the order of the kinds."""
    if sided is None or others is None:
        raise ValueError("both can be filled")
    ways = {True: iter(sided.seconds), False: iter(others.seconds)}
    return Solution(tuple(next(ways[sided]) for sided in is_sided))


def _cost(kinds: Sequence[Kind], solution: Solution) -> int:
    return sum(
        (second - kind.preferred) ** 2
        for kind, own in zip(kinds, solution.seconds, strict=True)
        for second in own
    )
