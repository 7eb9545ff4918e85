"""What a series comes to by week, and what is found across its days. Figures are worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from fractions import Fraction

import pytest

from cuetrack.document.model import read_document
from cuetrack.document.source import Source
from cuetrack.plan.series import Day, Series
from cuetrack.plan.text import parse_plan
from cuetrack.review.series import DayLoad, SeriesReview, day_load, monotony_of, reviewed_series
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import compiled

FIRST = date(2026, 11, 30)


def seconds(number: int) -> Duration:
    return Duration(Fraction(number))


def review_of(
    work: Sequence[tuple[int, int]], regions: Sequence[tuple[str, ...]] = (), keys: str = ""
) -> SeriesReview:
    """The review of days given as (days after the first, seconds of work), with the regions of each."""
    dates = [FIRST + timedelta(days=after) for after, _ in work]
    entries = "".join(f"  - {{date: {day}, plan: a.yaml}}\n" for day in dates)
    text = f"series: Winter\n{keys}sessions:\n{entries}"
    series = read_document(Source("winter.yaml", text), Series)
    loads = [
        DayLoad(
            Day(number + 1, len(work), True, entry),
            "Quay",
            seconds(2 * work[number][1]),
            seconds(work[number][1]),
            dict.fromkeys(regions[number] if regions else (), seconds(100)),
            frozenset(),
        )
        for number, entry in enumerate(series.sessions)
    ]
    return reviewed_series(series, loads)


def named(found: SeriesReview, name: str) -> list[str]:
    return [finding.message for finding in found.findings if finding.name == name]


# Foster 1998: mean daily load by its standard deviation, rest days as 0. Six equal days and one of rest:
# mean 6/7, sample variance 6/7 · 1/7 · 7/6 = 1/7, so 6/7 · √7. Equal parts of work and rest by the same way.
@pytest.mark.parametrize(
    ("daily", "expected"),
    [
        ([1, 1, 1, 1, 1, 1, 0], 6 / 7 * math.sqrt(7)),
        ([9, 9, 9, 9, 9, 9, 0], 6 / 7 * math.sqrt(7)),
        ([1, 0, 0, 0, 0, 0, 0], 1 / 7 * math.sqrt(7)),
        ([1, 0, 1, 0, 1, 0, 0], 3 / 7 / math.sqrt(3 * 4 / 42)),
        ([600, 200, 400, 500, 100, 650, 0], 350 / math.sqrt(385_000 / 6)),
        ([1, 1, 1, 1, 1, 1, 1], math.inf),
    ],
)
def test_monotony(daily: list[float], expected: float) -> None:
    assert monotony_of(daily) == pytest.approx(expected)


def test_monotony_of_no_work() -> None:
    assert monotony_of([0] * 7) is None


def test_weeks_are_counted_from_the_first_day_and_none_is_left_out() -> None:
    found = review_of([(0, 600), (3, 600), (6, 300), (7, 900), (21, 900)])
    assert [(week.number, str(week.first), str(week.last), len(week.days)) for week in found.weeks] == [
        (1, "2026-11-30", "2026-12-06", 3),
        (2, "2026-12-07", "2026-12-13", 1),
        (3, "2026-12-14", "2026-12-20", 0),
        (4, "2026-12-21", "2026-12-27", 1),
    ]
    assert [week.work for week in found.weeks] == [seconds(s) for s in (1500, 900, 0, 900)]
    assert [week.length for week in found.weeks] == [seconds(2 * s) for s in (1500, 900, 0, 900)]
    assert found.weeks[2].monotony is None


@pytest.mark.parametrize(
    ("weeks", "found"),
    [
        ([600, 660], []),  # a tenth exactly
        (
            [600, 661],
            ["week 2 has 11 min 1 s of work, 10% more than the 10 min of week 1"],
        ),
        ([600, 300, 660], []),  # back from a light week
        ([600, 300, 700], ["week 3 has 11 min 40 s of work, 17% more than the 10 min of week 1"]),
        ([600, 0, 660], []),
        ([600, 0, 0, 900], ["week 4 has 15 min of work, 50% more than the 10 min of week 1"]),
        (
            [600, 300, 300, 600],
            ["week 4 has 10 min of work, 100% more than the 5 min of week 2"],
        ),
    ],
)
def test_progression(weeks: list[int], found: list[str]) -> None:
    work = [(7 * number, seconds_of_week) for number, seconds_of_week in enumerate(weeks) if seconds_of_week]
    review = review_of(work)
    assert named(review, "progression") == found
    for finding in review.findings:
        assert finding.source.startswith("common practice, no source")
        assert finding.place is not None


def test_regions_on_following_days() -> None:
    regions = [("legs", "core"), ("legs", "back"), ("chest",), ("back", "chest", "core"), ("chest",)]
    found = review_of([(0, 60), (1, 60), (2, 60), (3, 60), (5, 60)], regions)
    assert named(found, "following-days") == [
        "legs on 2026-11-30 and on 2026-12-01, the day after",
        "chest on 2026-12-02 and on 2026-12-03, the day after",
    ]
    first = found.findings[0]
    assert str(first.place) == "winter.yaml:4:12"
    assert "48 hours" in first.source


def test_six_equal_days_are_monotonous_and_five_are_not() -> None:
    assert named(review_of([(day, 600) for day in range(6)]), "monotony") == [
        "week 1: the days are much alike, monotony 2.3"
    ]
    assert named(review_of([(day, 600) for day in range(7)]), "monotony") == [
        "week 1: the days are much alike, monotony without limit"
    ]
    # Five of seven: 5/7 by √(5/7 · 2/7 · 7/6) = 1.46.
    assert named(review_of([(day, 600) for day in range(5)]), "monotony") == []


def test_findings_are_accepted_with_a_reason_and_idle_acceptances_told() -> None:
    keys = "accepted: {monotony: a camp, progression: none here, foo: bar}\n"
    found = review_of([(day, 600) for day in range(6)], keys=keys)
    assert [(one.name, one.accepted) for one in found.findings] == [("monotony", "a camp")]
    assert [warning.message for warning in found.warnings] == [
        "'progression' is accepted, but not found",
        "no finding is called 'foo'",
    ]


@pytest.mark.parametrize(
    ("part", "tags", "work", "expected"),
    [
        ("Circuit", "[legs, squat]", "60s", ["legs"]),
        ("Circuit", "[legs, squat]", "59s", []),
        ("Circuit", "[legs, core, squat]", "90s", ["legs", "core"]),
        ("Circuit", "[legs, stretch]", "90s", []),
        ("Warm-up", "[legs, squat]", "90s", []),
        ("Cool-down", "[legs, squat]", "90s", []),
    ],
)
def test_what_loads_a_region(part: str, tags: str, work: str, expected: list[str]) -> None:
    plan = f"session: a\nparts: [{{part: {part}, steps: [{{move: x, tags: {tags}, work: {work}}}]}}]"
    series = read_document(Source("s", "series: a\nsessions: [{date: 2026-11-30, plan: a}]"), Series)
    load = day_load(Day(1, 1, True, series.sessions[0]), compiled(parse_plan(plan)))
    assert list(load.regions) == expected
    assert load.guessed == frozenset()
    by_name = day_load(
        Day(1, 1, True, series.sessions[0]),
        compiled(parse_plan("session: a\nparts: [{part: b, steps: [{move: Squat, work: 90s}]}]")),
    )
    assert by_name.guessed == {"legs"}
