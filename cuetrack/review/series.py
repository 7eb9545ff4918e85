"""The days of a series → what each week comes to, and what a colleague would ask about them together.

Weeks are the seven days from the first date on, and those after them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise
from statistics import fmean, stdev

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.series import Day, Series
from cuetrack.review.finding import COMMON_PRACTICE, Finding, idle_acceptances, length_words
from cuetrack.review.turns import loads, turns_of
from cuetrack.review.words import KINDS
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.totals import totals_of

SERIES_FINDING_NAMES = ("following-days", "progression", "monotony")
_ACSM_DAYS = (
    "ACSM: resistance training of a muscle group on days that do not follow each other, 48 hours between "
    "(Garber and others 2011; quoted second-hand)"
)
_FOSTER = (
    "Foster 1998, Medicine & Science in Sports & Exercise 30(7): mean daily load by its standard deviation, "
    "rest days counted, high above 2 (quoted second-hand); the load here is the work time alone"
)
_TEN_PERCENT = f"{COMMON_PRACTICE} (10 % a week, from distance running; studies do not agree on it)"
# Less work than this does not count as a region's. Common practice, no source.
LEAST_OF_A_REGION = Duration(Fraction(60))
MOST_PROGRESSION = Fraction(10, 100)
MOST_MONOTONY = 2.0
DAYS_A_WEEK = 7
_ZERO = Duration(Fraction(0))


@dataclass(frozen=True, slots=True)
class DayLoad:
    """What one day of a series comes to; `regions` are those that it loads, in the order of our list.

    A warm-up, a cool-down and stretches load none. `guessed` are regions known by names of moves alone.
    """

    day: Day
    session: str
    length: Duration
    work: Duration
    regions: Mapping[str, Duration]
    guessed: frozenset[str]

    @property
    def date(self) -> date:
        """When it is taught."""
        return self.day.entry.date

    @property
    def place(self) -> Place | None:
        """Its date, in the series."""
        return self.day.entry.place_of("date")


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days of a series, counted from 1, and their sessions in all.

    `monotony` is the mean daily work by its sample standard deviation; None for a week without work, and
    infinite where all seven days are alike.
    """

    number: int
    first: date
    days: tuple[DayLoad, ...]
    monotony: float | None

    @property
    def last(self) -> date:
        """Its seventh day."""
        return self.first + timedelta(days=DAYS_A_WEEK - 1)

    @property
    def length(self) -> Duration:
        """Of all its sessions."""
        return sum((day.length for day in self.days), _ZERO)

    @property
    def work(self) -> Duration:
        """In all its sessions."""
        return sum((day.work for day in self.days), _ZERO)


@dataclass(frozen=True, slots=True)
class SeriesReview:
    """A series: its days, its weeks, what it comes to, and what a colleague would ask."""

    series: str
    days: tuple[DayLoad, ...]
    weeks: tuple[Week, ...]
    findings: tuple[Finding, ...]
    warnings: tuple[Diagnostic, ...]


def day_load(day: Day, timeline: Timeline) -> DayLoad:
    """What the `timeline` of a day comes to."""
    totals = totals_of(timeline.session.session, timeline.phases)
    regions: dict[str, Duration] = {}
    guessed: set[str] = set()
    for turn in turns_of(timeline):
        for region in turn.about.of("region") if loads(turn) else ():
            regions[region] = regions.get(region, _ZERO) + turn.work
            guessed |= {region} if turn.about.guessed else set()
    loaded = {
        region: regions[region]
        for region in KINDS["region"]
        if regions.get(region, _ZERO) >= LEAST_OF_A_REGION
    }
    return DayLoad(day, totals.name, totals.length, totals.work, loaded, frozenset(guessed & loaded.keys()))


def reviewed_series(series: Series, days: Sequence[DayLoad]) -> SeriesReview:
    """The review of a series of which `days` are all days."""
    weeks = tuple(_weeks(days))
    accepted = series.accepted or {}
    found = (*_following_days(days), *_progression(weeks), *_monotony(weeks))
    findings = tuple(replace(finding, accepted=accepted.get(finding.name)) for finding in found)
    idle = idle_acceptances(accepted, SERIES_FINDING_NAMES, found, series.place_of("accepted"))
    return SeriesReview(series.series, tuple(days), weeks, findings, tuple(idle))


def monotony_of(daily: Sequence[float]) -> float | None:
    """The mean of daily loads by their sample standard deviation; None for no load at all.

    >>> round(monotony_of([30, 30, 30, 30, 30, 30, 0]), 3)
    2.268
    """
    if not any(daily):
        return None
    spread = stdev(daily)
    return fmean(daily) / spread if spread else float("inf")


def _weeks(days: Sequence[DayLoad]) -> Iterator[Week]:
    """Every week from the first day to the last, those without a session too."""
    begin = days[0].date
    for index in range((days[-1].date - begin).days // DAYS_A_WEEK + 1):
        first = begin + timedelta(days=DAYS_A_WEEK * index)
        its = tuple(day for day in days if 0 <= (day.date - first).days < DAYS_A_WEEK)
        daily = [0.0] * DAYS_A_WEEK
        for day in its:
            daily[(day.date - first).days] = float(day.work.seconds)
        yield Week(index + 1, first, its, monotony_of(daily))


def _following_days(days: Sequence[DayLoad]) -> Iterator[Finding]:
    """Regions that are loaded on two days which follow each other."""
    for before, after in pairwise(days):
        shared = [region for region in after.regions if region in before.regions]
        if after.date - before.date == timedelta(days=1) and shared:
            message = f"{', '.join(shared)} on {before.date} and on {after.date}, the day after"
            suggestion = "another region, an easy session, or a day in between lets them recover"
            guessed = any(region in day.guessed for region in shared for day in (before, after))
            yield Finding("following-days", message, suggestion, _ACSM_DAYS, after.place, guessed)


def _progression(weeks: Sequence[Week]) -> Iterator[Finding]:
    """Weeks with over a tenth more work than both of the weeks before that had any.

    Both, because coming back from one light week is no step up. Common practice, no source.
    """
    taught = [week for week in weeks if week.work]
    for index, week in enumerate(taught[1:], start=1):
        before = max(taught[max(0, index - 2) : index], key=lambda week: week.work.seconds)
        more = week.work.seconds / before.work.seconds - 1
        if more > MOST_PROGRESSION:
            message = (
                f"week {week.number} has {length_words(week.work)} of work, {float(more):.0%} more than the "
                f"{length_words(before.work)} of week {before.number}"
            )
            most = Duration(before.work.seconds * (1 + MOST_PROGRESSION))
            suggestion = f"up to {length_words(most)} is an increase of a tenth"
            yield Finding("progression", message, suggestion, _TEN_PERCENT, week.days[0].place)


def _monotony(weeks: Sequence[Week]) -> Iterator[Finding]:
    """Weeks in which every day is much like the others."""
    for week in weeks:
        if week.monotony is None or week.monotony <= MOST_MONOTONY:
            continue
        message = f"week {week.number}: the days are much alike, monotony {_monotony_text(week.monotony)}"
        suggestion = "hard and easy days that differ more, or one more day of rest"
        yield Finding("monotony", message, suggestion, _FOSTER, week.days[0].place)


def _monotony_text(monotony: float) -> str:
    return "without limit" if monotony == float("inf") else f"{monotony:.1f}"
