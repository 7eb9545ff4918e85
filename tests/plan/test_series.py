"""Series files: dates, days, what a day changes of its plan, and how it is numbered."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from cuetrack.build import Compiled, compile_plan, likely_arrangement, text_of
from cuetrack.document.model import read_document
from cuetrack.document.source import Source
from cuetrack.errors import PlanError, UsageError
from cuetrack.plan.schema import schema_of
from cuetrack.plan.series import Day, Series, date_of, day_called, days_of, name_on_day, on_day
from cuetrack.plan.text import parse_plan
from cuetrack.timebase import Duration
from cuetrack.timeline.cues import Announcement

PLAN = """session: Quay
{keys}
parts: [{{part: b, rest: 20s, work: 30s, steps: [{{move: Row}}, {{move: Press, harder: Longer.}}]}}]
"""


def series_of(*entries: str, keys: str = "") -> Series:
    sessions = "".join(f"  - {{{entry}}}\n" for entry in entries)
    return read_document(Source("winter.yaml", f"series: Winter\n{keys}sessions:\n{sessions}"), Series)


def day_of(entry: str = "date: 2026-11-30, plan: quay.yaml", number: int = 1, of: int = 1) -> Day:
    (session,) = series_of(entry).sessions
    return Day(number, of, True, session)


def compiled_on(folder: Path, day: Day | None, keys: str = "lead-in: 10s") -> Compiled:
    plan = folder / "quay.yaml"
    plan.write_text(PLAN.format(keys=keys), encoding="utf-8")
    return compile_plan(plan, day=day)


def announced(known: Compiled) -> list[str]:
    return [text_of(known, cue.phrase) for cue in known.timeline.cues if isinstance(cue, Announcement)]


@pytest.mark.parametrize(
    ("of", "first"), [(9, "winter-day-1"), (10, "winter-day-01"), (100, "winter-day-001")]
)
def test_files_sorted_by_name_are_in_the_order_of_the_days(of: int, first: str) -> None:
    names = [name_on_day(Path("quay/winter.yaml"), day_of(number=n, of=of)) for n in range(1, of + 1)]
    assert names[0] == first
    assert names == sorted(names)


# ISO 8601:2004, 4.1.2.2: complete calendar date, extended format; leap years as in the Gregorian calendar.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-11-30", date(2026, 11, 30)),
        ("2028-02-29", date(2028, 2, 29)),
        ("2027-02-29", None),
        ("2026-13-01", None),
        ("2026-1-1", None),
        ("20261130", None),
        ("2026-W49-1", None),
        ("30.11.2026", None),
        ("٢٠٢٦-11-30", None),
        ("", None),
    ],
)
def test_dates(text: str, expected: date | None) -> None:
    assert date_of(text) == expected


@pytest.mark.parametrize(
    ("entries", "found"),
    [
        (["date: 30.11.2026, plan: a"], ["winter.yaml:3:12: '30.11.2026' is no date"]),
        (["plan: a"], ["winter.yaml:3:6: 'date' is missing"]),
        (["date: 2026-11-30"], ["winter.yaml:3:6: 'plan' is missing"]),
        (
            ["date: 2026-11-30, plan: a", "date: 2026-11-30, plan: b"],
            ["winter.yaml:4:12: 2026-11-30 is the same as the date above it, 2026-11-30"],
        ),
        (
            ["date: 2026-11-30, plan: a", "date: 2026-10-30, plan: b", "date: 2026-11-29, plan: c"],
            [
                "winter.yaml:4:12: 2026-10-30 is before the date above it, 2026-11-30",
                "winter.yaml:5:12: 2026-11-29 is before the date above it, 2026-11-30",
            ],
        ),
        (["date: 2026-11-30, plan: a, level: hard"], ["winter.yaml:3:40: 'level' cannot be 'hard'"]),
        (["date: 2026-11-30, plan: a, rounds: 3"], ["winter.yaml:3:33: unknown key 'rounds'"]),
    ],
)
def test_faults_of_a_series(entries: list[str], found: list[str]) -> None:
    with pytest.raises(PlanError) as caught:
        series_of(*entries)
    assert [f"{one.place}: {one.message}" for one in caught.value.diagnostics] == found


def test_an_empty_series_says_how_one_begins() -> None:
    with pytest.raises(PlanError) as caught:
        read_document(Source("winter.yaml", ""), Series)
    assert [fault.hint for fault in caught.value.diagnostics] == [
        "write it like `series: NAME`, with its `sessions:` below"
    ]


def test_a_day_is_called_by_its_number_or_its_date() -> None:
    series = series_of("date: 2026-11-30, plan: a", "date: 2026-12-03, plan: b", "date: 2026-12-05, plan: c")
    assert [(day.number, day.of, day.entry.plan) for day in days_of(series)] == [
        (1, 3, "a"),
        (2, 3, "b"),
        (3, 3, "c"),
    ]
    assert day_called(series, "2").entry.plan == "b"
    assert day_called(series, "2026-12-05").number == 3
    for called in ("0", "4", "2026-12-01", "Monday", ""):
        with pytest.raises(
            UsageError, match="3 days, from 2026-11-30 to 2026-12-05: give a number or a date"
        ):
            day_called(series, called)


def test_a_day_changes_level_and_length_and_keeps_their_places() -> None:
    session = parse_plan(PLAN.format(keys="length: 2:00"), "quay.yaml")
    changed = on_day(session, day_of("date: 2026-11-30, plan: a, level: harder, length: 1:25"))
    assert changed.level == "harder"
    assert changed.length is not None
    assert changed.length.length == Duration(Fraction(85))
    assert str(changed.place_of("length")).startswith("winter.yaml:3:")
    assert (session.level, str(session.place_of("length"))) == ("standard", "quay.yaml:2:9")
    assert on_day(session, day_of()) == session


def test_a_promise_of_the_day_is_checked_on_the_line_of_the_series(tmp_path: Path) -> None:
    day = day_of("date: 2026-11-30, plan: quay.yaml, length: 2:00")
    (warning,) = compiled_on(tmp_path, day).warnings
    assert warning.place is not None
    assert (warning.place.file, warning.place.line) == ("winter.yaml", 3)


def test_the_day_is_announced_before_the_first_move(tmp_path: Path) -> None:
    assert announced(compiled_on(tmp_path, None)) == ["First: Row.", "Coming up: Press."]
    known = compiled_on(tmp_path, day_of(number=3, of=14))
    assert announced(known) == ["Day three of fourteen.", "First: Row.", "Coming up: Press."]
    placed = {one.text: one for one in likely_arrangement(known, 48_000).placed if one.text}
    day, first = placed["Day three of fourteen."], placed["First: Row."]
    assert 0 < day.start_frame < day.start_frame + day.frames <= first.start_frame
    # The count of three begins at 7 s, and half a second before it nothing is said.
    assert first.start_frame + first.frames <= 48_000 * 13 // 2
    # All phases stand where they stood.
    assert known.timeline.phases == compiled_on(tmp_path, None).timeline.phases


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "Day one of twenty-one."),
        ("de", "Tag eins von einundzwanzig."),
        ("es", "Día uno de veintiuno."),
        ("fr", "Jour un sur vingt et un."),
    ],
)
def test_the_day_in_each_language(tmp_path: Path, language: str, said: str) -> None:
    known = compiled_on(tmp_path, day_of(number=1, of=21), f"lead-in: 12s\nlanguage: {language}")
    assert announced(known)[0] == said


def test_own_words_for_the_day(tmp_path: Path) -> None:
    keys = 'lead-in: 12s\nphrases: {series-day: "Winter, session {day}."}'
    assert announced(compiled_on(tmp_path, day_of(number=2, of=9), keys))[0] == "Winter, session two."


def test_a_series_that_is_not_numbered(tmp_path: Path) -> None:
    (day,) = days_of(series_of("date: 2026-11-30, plan: quay.yaml", keys="numbered: off\n"))
    assert announced(compiled_on(tmp_path, day)) == ["First: Row.", "Coming up: Press."]


def test_a_lead_in_without_room_is_told_with_what_fits(tmp_path: Path) -> None:
    with pytest.raises(PlanError) as caught:
        compiled_on(tmp_path, day_of(), "lead-in: 0s")
    (fault,) = [one for one in caught.value.diagnostics if "series" in one.message]
    assert fault.message == "the day of the series has no room"
    assert fault.hint == "write `lead-in: 10s`, or `numbered: off` in the series"
    assert str(fault.place).endswith("quay.yaml:2:10")
    # With a lead-in of 5 s and a count of 3, 1.35 s are left for both phrases.
    known = compiled_on(tmp_path, day_of(number=12, of=14), "lead-in: 5s")
    warnings = [str(one) for one in likely_arrangement(known, 48_000).warnings]
    assert any("a lead-in of" in warning and "fits it" in warning for warning in warnings)


def test_the_day_keeps_clear_of_the_slate(tmp_path: Path) -> None:
    known = compiled_on(tmp_path, day_of(number=3, of=14), "lead-in: 12s\nslate: on")
    placed = likely_arrangement(known, 48_000).placed
    slate = next(one for one in placed if one.tone == "slate")
    day = next(one for one in placed if one.text == "Day three of fourteen.")
    assert slate.start_frame + slate.frames < day.start_frame


SCHEMA = schema_of(Series, "Series of sessions")
VALIDATOR = Draft202012Validator(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)


def faults(text: str) -> list[str]:
    # Read without types: by YAML 1.2's core schema, which knows no dates, 2026-11-30 is a text.
    found = YAML(typ="safe", pure=True)
    found.Constructor.add_constructor(
        "tag:yaml.org,2002:timestamp", lambda loader, node: loader.construct_scalar(node)
    )
    return [error.message for error in VALIDATOR.iter_errors(found.load(text))]


def test_schema_is_valid_and_takes_and_refuses_what_the_reader_does() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    entry = "{date: '2026-11-30', plan: a.yaml, level: easier, length: '20:00', notes: x}"
    assert faults(f"{{series: a, numbered: off, accepted: {{monotony: x}}, sessions: [{entry}]}}") == []
    for text in (
        "{series: a}",
        "{series: a, sessions: []}",
        "{sessions: [{date: '2026-11-30', plan: a}]}",
        "{series: a, sessions: [{date: '30.11.2026', plan: a}]}",
        "{series: a, sessions: [{date: '2026-02-30', plan: a}]}",
        "{series: a, sessions: [{date: '2026-11-30'}]}",
        "{series: a, sessions: [{date: '2026-11-30', plan: a, day: 3}]}",
    ):
        assert faults(text)
        with pytest.raises(PlanError):
            read_document(Source("s", text), Series)


@pytest.mark.parametrize("schema", [SCHEMA])
def test_every_key_is_explained(schema: dict[str, dict[str, dict[str, dict[str, dict[str, str]]]]]) -> None:
    for properties in (schema["properties"], schema["$defs"]["DatedSession"]["properties"]):
        for name, told in properties.items():
            assert str(told.get("description", "")).endswith("."), name
