"""What a spreadsheet made of a cell → the text that the coach sees in it, or why it cannot be used.

A spreadsheet turns `20:30` into a time of day. Such a cell is read as it is shown, and that is told;
a date, a formula without its value and an error value are refused.
"""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from math import isfinite
from typing import Any

from cuetrack.tables.sheet import Cell, shown_cell

_AS_TEXT = "format the column as text, and write it again like 20:30 or 40s"
_DAY_SECONDS = 86_400


def typed_cell(value: Any, shown_format: str, *, is_error: bool, is_formula: bool) -> Cell:
    """The cell of a value as openpyxl gives it; `shown_format` is its number format (ECMA-376-1, 18.8.31)."""
    if is_error:
        text = str(value)
        return Cell(text, (f"the cell shows the error {shown_cell(text)}", "write the value itself"))
    match value:
        case None if is_formula:
            hint = "save the file in a spreadsheet program, or write the value itself"
            return Cell(fault=("the formula's value is not in the file", hint))
        case None:
            return Cell()
        case bool():
            return Cell("on" if value else "off")
        case datetime() | date():
            written = value.isoformat()[:10]
            return Cell(written, (f"the spreadsheet made a date of it, {written}", _AS_TEXT))
        case time():
            since_midnight = datetime.combine(date.min, value) - datetime.min
            return _time_cell(since_midnight, shown_format)
        case timedelta():
            return _time_cell(value, shown_format)
        case int() | float():
            return _number_cell(value)
    return Cell(str(value).strip())


def _time_cell(length: timedelta, shown_format: str) -> Cell:
    """A time of day or of hours, as the cell shows it: `h:mm` shows 20:30 for 20 h 30 min."""
    total = round(length.total_seconds())
    hours, minutes, seconds = total // 3600, total // 60 % 60, total % 60
    form = re.sub(r'"[^"]*"|\\.', "", shown_format.lower())
    if "h" not in form:
        text = f"{total // 60 if '[m' in form else minutes}:{seconds:02d}"
        is_whole = hours == 0 or "[m" in form
    elif "s" in form:
        text, is_whole = f"{hours}:{minutes:02d}:{seconds:02d}", True
    else:
        text, is_whole = f"{hours}:{minutes:02d}", seconds == 0
    if total < 0 or not is_whole or "am/pm" in form:
        message = "the spreadsheet made a time of day of it, and shows only a part of that"
        return Cell(text, (message, _AS_TEXT))
    return Cell(text, remark=f"the spreadsheet keeps a time of day here; read as it is shown, {text}")


def _number_cell(value: float) -> Cell:
    if not isfinite(value):
        return Cell(str(value), ("this is no number", "write the value itself"))
    # What a formula adds up to 30 may be kept as 29.999999999999996.
    shown = f"{value:.9f}".rstrip("0").rstrip(".")
    seconds = value * _DAY_SECONDS
    # A number that a coach wrote has few decimals; thirds of a day and their like do not.
    if 0 < value < 1 and abs(seconds - round(seconds)) < 1e-6 and round(value, 4) != round(value, 9):
        message = f"{value:.6g} is a part of a day, {timedelta(seconds=round(seconds))}"
        return Cell(f"{value:.6g}", (message, _AS_TEXT))
    return Cell(shown)
