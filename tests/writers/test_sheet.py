"""The sheet: its rows by hand, its CSV, its page, and its PDF as another program reads it."""

from __future__ import annotations

import csv
import html
import io
import re
from html.parser import HTMLParser

import pypdf
import pytest

from cuetrack.writers.scenes import scenes_of
from cuetrack.writers.sheet import sheet_csv, sheet_html, sheet_of
from cuetrack.writers.sheet_pdf import letters_missing, sheet_pdf
from tests.helpers.likely import SAMPLES, likely, likely_of, untidy_plan

_PLAN = """
session: Quay sheet
equipment: [band, chair]
lead-in: 30s
parts:
  - part: Circuit
    rounds: 2
    rest: 30s
    steps:
      - {move: Row, sides: both, change: 8s, stages: [{slow: 25s}, {fast: 15s}], setup: Sit., easier: Stand.}
      - {talk: 20s, notes: Water.}
      - {move: Press, work: 12.5s, equipment: [band]}
      - {rest: 40s}
"""


def test_a_move_stands_on_one_row_with_a_clock_a_round():
    sheet = sheet_of(likely_of(_PLAN))
    (part,) = sheet.parts
    assert (sheet.title, sheet.length, sheet.equipment) == ("Quay sheet", "6:51", "band, chair")
    assert part.title == "Circuit · 2 rounds"
    row, talk, press = part.rows
    # 30 s lead-in; a round is 2·40 + 8 + 30 + 20 + 12.5 + 40 s = 190.5 s.
    assert row.clocks == ("0:30", "3:40")
    assert row.timed == (("slow", "25"), ("fast", "15"))
    assert (row.sides, row.change, row.rest) == (("left side", "right side"), "8", "30")
    assert row.about == (("", "Sit."), ("easier", "Stand."))
    assert (talk.title, talk.clocks, talk.timed, talk.notes) == (
        "Talk",
        ("2:28", "5:38"),
        (("", "20"),),
        "Water.",
    )
    assert (press.clocks, press.timed, press.rest) == (("2:48", "5:58"), (("", "12.5"),), "40")


@pytest.mark.parametrize("plan", [*SAMPLES, None], ids=lambda plan: plan.stem if plan else "untidy texts")
def test_the_csv_has_every_phase_as_it_is(plan):
    arrangement = likely_of(untidy_plan()) if plan is None else likely(plan)
    rows = list(csv.DictReader(io.StringIO(sheet_csv(arrangement).decode("utf-8-sig"), newline="")))
    scenes = scenes_of(arrangement)
    assert len(rows) == len(scenes)
    for row, scene in zip(rows, scenes, strict=True):
        texts = (scene.kind, scene.move or "", scene.stage or "", scene.setup or "", scene.notes or "")
        assert (row["phase"], row["move"], row["stage"], row["setup"], row["notes"]) == texts
        assert float(row["seconds"]) == pytest.approx(scene.frames / arrangement.rate_hz, abs=0.05)


class _Texts(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.tags: list[str] = []
        self.feed(page)

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)


@pytest.mark.parametrize("plan", [*SAMPLES, None], ids=lambda plan: plan.stem if plan else "untidy texts")
def test_the_page_shows_every_text_as_text(plan):
    sheet = sheet_of(likely_of(untidy_plan()) if plan is None else likely(plan))
    page = sheet_html(sheet)
    read = _Texts(page)
    shown = " ".join(" ".join(read.texts).split())
    for text in _texts(sheet):
        assert " ".join(text.split()) in shown
    assert "script" not in read.tags
    assert "<script" not in page


def _texts(sheet):
    yield sheet.title
    for part in sheet.parts:
        yield part.title
        for row in part.rows:
            yield from (row.title, *row.clocks, *row.stages, *row.seconds, *(text for _, text in row.about))


@pytest.mark.parametrize("plan", SAMPLES, ids=lambda plan: plan.stem)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_session_of_half_an_hour_fits_one_page_and_is_read_back(plan, paper):
    sheet = sheet_of(likely(plan))
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet, paper=paper)))
    assert len(reader.pages) == 1
    width, height = (float(side) for side in reader.pages[0].mediabox[2:])
    # ISO 216 and US letter, in points of 1/72 inch.
    assert (width, height) == pytest.approx((595.28, 841.89) if paper == "a4" else (612, 792), abs=0.5)
    found = _squeezed(reader.pages[0].extract_text())
    for text in _texts(sheet):
        assert _squeezed(text) in found
    assert reader.metadata is not None
    assert reader.metadata.title == sheet.title


def _squeezed(text: str) -> str:
    """Without blanks: where lines are broken says nothing. A typeface joins f and i."""
    return re.sub(r"\s", "", text).replace("ﬁ", "fi").replace("ﬂ", "fl")


def test_a_long_session_takes_more_pages():
    moves = "".join(f"      - {{move: Move {i}, work: 40s, setup: Stand tall.}}\n" for i in range(90))
    sheet = sheet_of(
        likely_of(f"session: Long\nlead-in: 20s\nparts:\n  - part: P\n    rest: 20s\n    steps:\n{moves}")
    )
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet)))
    assert 2 <= len(reader.pages) <= 6
    found = _squeezed("".join(page.extract_text() for page in reader.pages))
    assert all(_squeezed(text) in found for text in _texts(sheet))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_row_that_is_higher_than_a_page_goes_on_on_the_next(paper):
    """Many rounds and long notes: a table of PDF breaks between rows only."""
    notes = " ".join(f"note-{number}" for number in range(420))
    plan = "session: Long\nlead-in: 20s\nparts:\n  - part: P\n    rounds: 130\n    steps:\n"
    plan += f"      - {{move: Row, work: 20s, rest: 10s}}\n      - {{rest: 30s, notes: {notes}}}\n"
    plan += f"      - {{talk: 40s, notes: {notes.upper()}}}\n"
    sheet = sheet_of(likely_of(plan))
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet, paper=paper)))
    found = "".join(page.extract_text() for page in reader.pages)
    for row in sheet.parts[0].rows:
        assert len(row.clocks) == 130
        assert all(clock in found for clock in row.clocks)
    squeezed = _squeezed(found)
    assert all(f"note-{number}" in squeezed and f"NOTE-{number}" in squeezed for number in range(420))


def test_a_part_that_is_called_as_the_one_before_it_is_another_one():
    plan = "session: Twice\nlead-in: 20s\nparts:\n"
    for rounds, move in ((1, "Row"), (3, "Press")):
        plan += f"  - part: Circuit\n    rounds: {rounds}\n    rest: 20s\n    steps:\n"
        plan += f"      - {{move: {move}, work: 40s}}\n      - rest: 20s\n"
    one, other = sheet_of(likely_of(plan)).parts
    assert (one.title, [(row.title, row.clocks) for row in one.rows]) == ("Circuit", [("Row", ("0:20",))])
    assert other.title == "Circuit · 3 rounds"
    assert [(row.title, row.clocks) for row in other.rows] == [("Press", ("1:20", "2:20", "3:20"))]


def test_letters_that_the_typeface_lacks_are_told_and_boxed():
    sheet = sheet_of(likely_of(untidy_plan()))
    assert set("🌊🚣") <= set(letters_missing(sheet))
    found = pypdf.PdfReader(io.BytesIO(sheet_pdf(sheet))).pages[0].extract_text()
    assert "<script>alert(1)</script>" in found.replace("\n", "")
    assert "▯" in found


def test_the_same_session_gives_the_same_bytes():
    first, second = (sheet_pdf(sheet_of(likely(SAMPLES[0]))) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("language", ["es", "de", "fr"])
def test_headings_speak_the_session_s_language(language):
    sheet = sheet_of(likely_of(f"language: {language}\nvoice: system{_PLAN}"))
    page = html.unescape(sheet_html(sheet))
    assert f'<html lang="{language}">' in page
    assert sheet.words["clock"] in page
    assert "Change sides" not in page
