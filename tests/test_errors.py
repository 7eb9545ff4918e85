"""What people read when something is wrong: places, carets, hints, and one family of exceptions."""

from __future__ import annotations

import inspect

import pytest

from cuetrack import errors
from cuetrack.errors import (
    ConformError,
    CuetrackError,
    Diagnostic,
    ExitCode,
    Place,
    PlanError,
    TimeError,
    UsageError,
    VoiceMissingError,
    did_you_mean,
    nearest,
)


def place(line_text: str, column: int, length: int = 1) -> Place:
    return Place("legs.yaml", 14, column, length, line_text)


def test_diagnostic_is_place_finding_line_caret_and_hint() -> None:
    found = Diagnostic("error", "'3' is a time without a unit", place("    rest: 3", 11), "write 3s or 3 min")
    assert str(found) == (
        "legs.yaml:14:11: error: '3' is a time without a unit\n"
        "    rest: 3\n"
        "          ^\n"
        "    hint: write 3s or 3 min"
    )


def test_warning_without_place_or_hint_is_one_line() -> None:
    assert str(Diagnostic("warning", "the sides differ")) == "warning: the sides differ"


def caret_and_line(line_text: str, column: int, length: int = 1) -> tuple[str, str]:
    """The quoted line and the caret line below it, without the margin."""
    _, quoted, caret = str(Diagnostic("error", "x", place(line_text, column, length))).split("\n")
    return quoted.removeprefix("    "), caret.removeprefix("    ")


def test_caret_has_the_length_of_what_it_is_about() -> None:
    assert caret_and_line("rest: 30 secs", 7, 7) == ("rest: 30 secs", "      ^^^^^^^")


def test_caret_stays_under_the_text_after_tabs_and_unprintable_characters() -> None:
    assert caret_and_line("ab\x07\tcd", 5) == ("ab  cd", "    ^")


def test_caret_at_the_end_of_the_line_stands_behind_it() -> None:
    assert caret_and_line("rest:", 6) == ("rest:", "     ^")


def test_caret_in_the_indentation_keeps_its_column() -> None:
    assert caret_and_line("   rest: 3s", 2) == ("  rest: 3s", "^")


@pytest.mark.parametrize("column", [1, 74, 75, 76, 500, 9_990, 10_000])
def test_long_line_is_cut_around_the_caret(column: int) -> None:
    letters = "abcdefghijklmnopqrstuvwxyz" * 400
    quoted, caret = caret_and_line(letters, column, 300)
    assert len(quoted) <= 100
    assert len(caret) <= len(quoted)
    first = len(caret) - len(caret.lstrip())
    assert quoted[first:].startswith(letters[column - 1 : column + 9][: len(quoted) - first])


def test_blank_line_is_not_quoted() -> None:
    assert str(Diagnostic("error", "empty", place("   ", 1))) == "legs.yaml:14:1: error: empty"


def test_plan_error_holds_and_says_everything_found() -> None:
    found = [Diagnostic("error", "one", place("a", 1)), Diagnostic("error", "two", place("b", 1))]
    error = PlanError(iter(found))
    assert error.diagnostics == tuple(found)
    assert str(error) == f"{found[0]}\n{found[1]}"


def test_what_was_found_comes_file_by_file_in_the_order_of_the_lines() -> None:
    """As the plans of a series have it: the one whose mistake is met first, with all of its mistakes."""

    def found(file: str, line: int) -> Diagnostic:
        return Diagnostic("error", "x", Place(file, line, 1, 1, ""))

    nowhere = Diagnostic("error", "x")
    met = [found("strong.yaml", 9), found("easy.yaml", 2), found("strong.yaml", 1), nowhere]
    assert PlanError(met).diagnostics == (nowhere, met[2], met[0], met[1])


def test_every_error_of_ours_is_a_cuetrack_error() -> None:
    classes = [
        value for _, value in inspect.getmembers(errors, inspect.isclass) if issubclass(value, Exception)
    ]
    assert len(classes) >= 9
    assert all(issubclass(value, CuetrackError) for value in classes)


def test_errors_know_the_exit_code_of_the_design() -> None:
    codes = (ExitCode.DONE, ExitCode.ERRORS, ExitCode.WRONG_USAGE, ExitCode.MACHINE_LACKS)
    assert codes == (0, 1, 2, 3)
    assert PlanError([]).exit_code == ConformError([]).exit_code == ExitCode.ERRORS
    assert UsageError("x").exit_code == ExitCode.WRONG_USAGE
    assert VoiceMissingError("x").exit_code == ExitCode.MACHINE_LACKS


def test_time_error_carries_its_hint() -> None:
    error = TimeError("'5' is a time without a unit", "write 5s")
    assert (str(error), error.hint) == ("'5' is a time without a unit", "write 5s")


@pytest.mark.parametrize(
    ("word", "expected"),
    [("lenght", "length"), ("LENGTH", "length"), ("parts", "parts"), ("weather", None), ("", None)],
)
def test_nearest_word(word: str, expected: str | None) -> None:
    assert nearest(word, ["length", "parts", "level"]) == expected


def test_hint_names_the_nearest_word_or_all_of_them() -> None:
    assert did_you_mean("lefft", ["left", "right"]) == "did you mean 'left'?"
    assert did_you_mean("up", iter(["left", "right"])) == "allowed: left, right"
