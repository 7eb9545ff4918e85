"""Equal sides against brute force, and no search that grows with every move."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cuetrack.timeline.equal_sides import solved_with_equal_sides
from cuetrack.timeline.solve import Kind, even_totals


@st.composite
def kinds(draw: st.DrawFn) -> list[tuple[Kind, bool]]:
    drawn = []
    for number in range(draw(st.integers(1, 4))):
        sided = draw(st.booleans())
        count = 2 * draw(st.integers(1, 3)) if sided else draw(st.integers(1, 4))
        shortest = draw(st.integers(0, 6))
        longest = shortest + draw(st.integers(0, 5))
        preferred = draw(st.integers(shortest, longest))
        drawn.append((Kind(f"k{number}", count, shortest, longest, preferred), sided))
    return drawn


def can_fill(drawn: Sequence[tuple[Kind, bool]], total: int) -> bool:
    """Whether any choice does, with every kind with sides even, and the others as they like."""
    sided = [kind for kind, is_sided in drawn if is_sided]
    others = [kind for kind, is_sided in drawn if not is_sided]
    least = sum(kind.count * kind.shortest for kind in others)
    most = sum(kind.count * kind.longest for kind in others)
    ways = product(*(range(kind.shortest, kind.longest + 1) for kind in sided))
    return any(
        least <= total - sum(k.count * s for k, s in zip(sided, way, strict=True)) <= most for way in ways
    )


@settings(max_examples=300, deadline=None)
@given(kinds(), st.data())
def test_a_total_is_filled_if_brute_force_fills_it(
    drawn: list[tuple[Kind, bool]], data: st.DataObject
) -> None:
    only = [kind for kind, _ in drawn]
    least = sum(kind.count * kind.shortest for kind in only)
    most = sum(kind.count * kind.longest for kind in only)
    total = data.draw(st.integers(max(0, least - 1), most + 1))
    solution = solved_with_equal_sides(only, [sided for _, sided in drawn], total)
    assert (solution is not None) == can_fill(drawn, total)
    assume(solution is not None)
    assert solution is not None
    assert sum(map(sum, solution.seconds)) == total
    for (kind, sided), seconds in zip(drawn, solution.seconds, strict=True):
        assert len(seconds) == kind.count
        assert kind.shortest <= min(seconds)
        assert max(seconds) <= kind.longest
        assert max(seconds) - min(seconds) <= (0 if sided else 1)


def test_a_second_that_does_not_divide_goes_to_a_rest() -> None:
    moves = [Kind(f"move {number}", 2, 20, 40, 30) for number in range(3)]
    rest = Kind("rest", 2, 10, 20, 15)
    solution = solved_with_equal_sides([*moves, rest], [True, True, True, False], 211)
    assert solution is not None
    assert [set(seconds) for seconds in solution.seconds[:3]] == [{30}] * 3
    assert solution.seconds[3] == (15, 16)


def test_sixty_moves_whose_sides_cannot_fill_an_odd_total_are_told_at_once() -> None:
    """Trying the moves one after the other would take 2 to the power of 60 attempts."""
    moves = [Kind(f"move {number}", 2, 20, 40, 30) for number in range(60)]
    assert solved_with_equal_sides(moves, [True] * 60, 3601) is None
    assert solved_with_equal_sides(moves, [True] * 60, 3600) is not None


@given(kinds(), st.integers(0, 80))
def test_even_totals_are_those_of_brute_force(drawn: list[tuple[Kind, bool]], limit: int) -> None:
    only = [kind for kind, _ in drawn]
    ways = product(*(range(kind.shortest, kind.longest + 1) for kind in only))
    totals = {sum(kind.count * seconds for kind, seconds in zip(only, way, strict=True)) for way in ways}
    assert {n for n in range(limit + 2) if even_totals(only, limit) >> n & 1} == {
        n for n in totals if n <= limit
    }
