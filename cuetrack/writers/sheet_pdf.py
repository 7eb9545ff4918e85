"""A cue sheet → PDF: the largest letters with which it fits one page, or as many pages as it needs.

Letters come from DejaVu Sans, which the extra `paper` brings along with its pictures; texts that run from
right to left are set so. What the typeface lacks (many emoji) is printed as an empty box.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, cast

from cuetrack.writers.page_words import cautions
from cuetrack.writers.sheet import Paper, Sheet, SheetRow
from cuetrack.writers.typeface import lacks, shown, typefaces

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.fonts import FontFace
    from fpdf.table import Table

# From what is read a few steps away down to what is read standing before it; more pages have 11 points.
# Common practice, no source.
_SIZES_POINTS, _USUAL_POINTS = (16.0, 15.0, 14.0, 13.0, 12.0, 11.0, 10.0, 9.0), 11.0
_MARGIN_MM = 11.0
_LINE_HEIGHT = 1.18
_WIDTHS = (11, 29, 25, 44)
_PADDING_MM = (0.5, 0.8)
# Of a page's lines: what stands above a row that fills it.
_HEADING_LINES = 4
# So many letters a line has at least, two lines taken together.
_FEWEST_LETTERS = 4
_FAMILY = "DejaVu"
# The same session gives the same bytes, so a sheet has no date of its own.
_NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)


def sheet_pdf(sheet: Sheet, *, paper: Paper = "a4") -> bytes:
    """The sheet as a PDF file."""
    pages = partial(_on_paper, sheet, paper)
    # The larger the letters, the more pages: the first size that fits is found by halving.
    fitting = bisect_left(_SIZES_POINTS, True, key=lambda points: pages(points)[1] == 1)
    return pages(_SIZES_POINTS[fitting] if fitting < len(_SIZES_POINTS) else _USUAL_POINTS)[0]


def _on_paper(sheet: Sheet, paper: Paper, points: float) -> tuple[bytes, int]:
    """The file with letters of one size, and its number of pages."""
    from fpdf.fonts import TTFFont

    pdf = _laid_out(sheet, paper, points)
    try:
        return bytes(pdf.output()), pdf.page
    finally:
        for font in pdf.fonts.values():  # it keeps the files of its typefaces open
            if isinstance(font, TTFFont):
                font.close()


def _laid_out(sheet: Sheet, paper: Paper, points: float) -> FPDF:
    pdf = _blank(sheet, paper, points)
    height = points * _LINE_HEIGHT / pdf.k
    pdf.set_font(_FAMILY, "B", points * 1.35)
    clock_width = pdf.get_string_width(sheet.length) + 2
    pdf.multi_cell(
        pdf.epw - clock_width, height * 1.35, shown(sheet.title), new_x="RIGHT", new_y="TOP", align="L"
    )
    pdf.cell(clock_width, height * 1.35, sheet.length, align="R", new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(_FAMILY, "", points)
    if sheet.equipment:
        needed = shown(f"{sheet.words['equipment']}: {sheet.equipment}")
        pdf.multi_cell(0, height, needed, new_x="LMARGIN", new_y="NEXT")
    _add_table(pdf, sheet, points, height)
    pdf.set_font(_FAMILY, "", points * 0.75)
    pdf.multi_cell(0, height * 0.75, " ".join(cautions(sheet.words)), new_x="LMARGIN", new_y="NEXT")
    return pdf


def _blank(sheet: Sheet, paper: Paper, points: float) -> FPDF:
    from fpdf import FPDF

    pdf = FPDF(format=paper)
    for style, file in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
        pdf.add_font(_FAMILY, style, typefaces() / file)
    pdf.set_text_shaping(True)
    pdf.set_creation_date(_NO_DATE)
    pdf.set_title(sheet.title)
    pdf.set_lang(sheet.language)
    pdf.set_margin(_MARGIN_MM)
    pdf.set_auto_page_break(True, _MARGIN_MM)
    pdf.add_page()
    pdf.set_font(_FAMILY, "", points)
    return pdf


def _add_table(pdf: FPDF, sheet: Sheet, points: float, height: float) -> None:
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace

    words, bold = sheet.words, FontFace(emphasis="BOLD")
    larger = FontFace(emphasis="BOLD", size_pt=points * 1.1)
    with pdf.table(
        col_widths=_WIDTHS,
        line_height=height,
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        headings_style=FontFace(emphasis="BOLD", size_pt=points * 0.75),
        padding=_PADDING_MM,
        text_align="LEFT",
        v_align="TOP",
    ) as table:
        heading = table.row()
        about = f"{words['setup']} · {words['notes']}"
        for text in (words["clock"], words["move"], words["seconds"], about):
            heading.cell(text)
        for part in sheet.parts:
            table.row().cell(shown(part.title), colspan=4, style=larger)
            for row in part.rows:
                for texts in _page_by_page(pdf, _texts(row, sheet), height):
                    _add_row(table, texts, bold if row.is_move else None)


def _texts(row: SheetRow, sheet: Sheet) -> tuple[str, ...]:
    """What stands in each column of a row."""
    words = sheet.words
    timed = [f"{stage} {seconds}".strip() for stage, seconds in row.timed]
    timed += [f"{words[key]} {text}" for key, text in (("change", row.change), ("rest", row.rest)) if text]
    about = [f"{words[key]}: {text}" if key else text for key, text in row.about]
    title = filter(None, (row.title, ", ".join(row.sides)))
    return ("\n".join(row.clocks), *(shown("\n".join(lines)) for lines in (title, timed, about)))


def _page_by_page(pdf: FPDF, texts: Sequence[str], height: float) -> Iterator[tuple[str, ...]]:
    """A row as it is; one that is higher than a page, which a table cannot break, in several."""
    most = int(pdf.eph / height) - _HEADING_LINES
    columns = [
        _broken(pdf, text, pdf.epw * width / sum(_WIDTHS), height, most)
        for text, width in zip(texts, _WIDTHS, strict=True)
    ]
    for first in range(0, max(map(len, columns)), most):
        yield tuple("\n".join(lines[first : first + most]) for lines in columns)


def _broken(pdf: FPDF, text: str, width: float, height: float, most: int) -> list[str]:
    """The lines of a text that are more than `most` in a column of this width; else the whole text as one."""
    from fpdf.enums import MethodReturnValue
    from fpdf.util import Padding

    if text.count("\n") + len(text) // _FEWEST_LETTERS < most:
        return [text]
    padding, lines_only = Padding.new(_PADDING_MM), MethodReturnValue.LINES
    found = pdf.multi_cell(width, height, text, align="L", padding=padding, dry_run=True, output=lines_only)
    lines = cast("list[str]", found)
    return lines if len(lines) > most else [text]


def _add_row(table: Table, texts: Sequence[str], bold: FontFace | None) -> None:
    clock, title, timed, about = texts
    cells = table.row()
    cells.cell(clock)
    cells.cell(title, style=bold)
    cells.cell(timed)
    cells.cell(about)


def letters_missing(sheet: Sheet) -> str:
    """The letters of the sheet that the typeface lacks, each once."""
    texts = [sheet.title, sheet.equipment]
    for part in sheet.parts:
        texts.append(part.title)
        for row in part.rows:
            texts += (row.title, *row.stages, *(text for _, text in row.about))
    return "".join(dict.fromkeys(letter for text in texts for letter in text if lacks(letter)))
