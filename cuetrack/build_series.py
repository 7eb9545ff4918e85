"""Series file → the plan of one of its days, or all of them compiled and looked at together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from cuetrack.build import DEFAULT_RATE_HZ, compile_plan, likely_arrangement
from cuetrack.document.beside import file_beside
from cuetrack.errors import Diagnostic, NamedFileError, PlanError
from cuetrack.plan.series import Day, Series, day_called, days_of, read_series
from cuetrack.review.series import DayLoad, SeriesReview, day_load, reviewed_series
from cuetrack.timeline.compile import Timeline


@dataclass(frozen=True, slots=True)
class CheckedSeries:
    """The review of a series, and what else its coach may want to know of it and of its plans."""

    review: SeriesReview
    warnings: tuple[Diagnostic, ...]


def plan_of_day(series: Path, called: str, *, allow_outside: bool = False) -> tuple[Path, Day]:
    """The plan of the day that `called`, a number or a date, names in the series file.

    Raises:
        PlanError: with every mistake in the series, or its plan is no file beside it.
        UsageError: there is no such day.
    """
    day = day_called(read_series(series), called)
    return _plan_of(series, day, allow_outside), day


def check_series(path: Path, *, allow_outside: bool = False) -> CheckedSeries:
    """What the series comes to; every plan is compiled, no sound is made.

    Raises:
        PlanError: with every mistake in the series and in its plans.
    """
    series = read_series(path)
    timelines, faults, warnings = _timelines(path, series, allow_outside)
    if faults:
        raise PlanError(dict.fromkeys(faults))
    loads: list[DayLoad] = [day_load(day, timelines[_version(day)]) for day in days_of(series)]
    review = reviewed_series(series, loads)
    return CheckedSeries(review, tuple(dict.fromkeys((*warnings, *review.warnings))))


def _version(day: Day) -> object:
    """What days have in common that are equal but for their number."""
    entry = day.entry
    return entry.plan, entry.level, entry.length


def _timelines(
    path: Path, series: Series, allow_outside: bool
) -> tuple[dict[object, Timeline], list[Diagnostic], list[Diagnostic]]:
    """Each version of each plan, compiled once; faults, and warnings."""
    versions: dict[object, Day] = {}
    for day in days_of(series):
        # The first of its kind, by the number of the last: the higher, the longer it takes to say.
        first = versions.setdefault(_version(day), day)
        versions[_version(day)] = replace(first, number=day.number)
    timelines: dict[object, Timeline] = {}
    faults: list[Diagnostic] = []
    warnings: list[Diagnostic] = []
    for version, day in versions.items():
        try:
            known = compile_plan(_plan_of(path, day, allow_outside), day=day, allow_outside=allow_outside)
            timelines[version] = known.timeline
            warnings += (*known.warnings, *likely_arrangement(known, DEFAULT_RATE_HZ).warnings)
        except PlanError as error:
            faults += error.diagnostics
    return timelines, faults, warnings


def _plan_of(series: Path, day: Day, allow_outside: bool) -> Path:
    try:
        return file_beside(day.entry.plan, series.parent, allow_outside=allow_outside)
    except NamedFileError as error:
        fault = Diagnostic("error", str(error), day.entry.place_of("plan"), error.hint)
        raise PlanError([fault]) from None
