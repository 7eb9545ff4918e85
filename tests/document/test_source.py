"""From a file to its text: line ends, encodings, and what no text of ours may hold."""

from __future__ import annotations

from pathlib import Path
from unicodedata import category

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.document.source import Source, check_characters, control_characters, read_source
from cuetrack.errors import PlanError


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_lines_are_the_same_for_every_line_end(tmp_path: Path, line_end: str) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(line_end.join(["session: Quay", "", "parts: []"]).encode())
    source = read_source(path)
    assert source.lines == ("session: Quay", "", "parts: []")
    assert source.place(3, 1).line_text == "parts: []"


@pytest.mark.parametrize("data", [b"\xef\xbb\xbfsession: a", b"session: a"])
def test_byte_order_mark_is_not_part_of_the_text(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(data)
    assert read_source(path).text == "session: a"
    assert Source("plan", data.decode()).text == "session: a"


def test_source_is_known_under_the_path_it_was_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text("session: a")
    assert read_source(path).file == str(path)


def test_place_outside_the_text_has_an_empty_line_and_length_one() -> None:
    place = Source("plan", "a").place(7, 1, 0)
    assert (str(place), place.line_text, place.length) == ("plan:7:1", "", 1)


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("\ta", [1]),
        ("  \t a", [3]),
        ("a\tb", []),
        ("a\x07b\x7f", [2, 4]),
        ("a\u0085b\u2028c\u2029", [2, 4, 6]),
        ("\ufeffa\ufeff", [2]),  # the first is the file's byte order mark
        ("a\ud800\udc00", [2, 3]),
        ("a\uffff", [2]),
        ("🏋️ ß 漢 \u200d \u00a0", []),
    ],
)
def test_characters_that_are_refused(text: str, columns: list[int]) -> None:
    source = Source("plan", text)
    if not columns:
        check_characters(source)
        return
    with pytest.raises(PlanError) as caught:
        check_characters(source)
    assert [found.place.column for found in caught.value.diagnostics if found.place] == columns


@settings(deadline=None, database=None)
@given(st.text())
def test_control_characters_are_all_found(text: str) -> None:
    """Held against the categories of Unicode: Cc controls, Cs halves of a pair, Zl and Zp line ends."""

    def refused(character: str) -> bool:
        if character in "\t\n\r":
            return False
        return category(character) in {"Cc", "Cs", "Zl", "Zp"} or character in "\ufeff\ufffe\uffff"

    found = [column for column, _, _ in control_characters(text)]
    assert found == [column for column, character in enumerate(text, start=1) if refused(character)]
