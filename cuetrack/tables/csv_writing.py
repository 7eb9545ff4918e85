"""Rows of cells → CSV (RFC 4180): UTF-8 with a byte order mark, commas, CR LF, as spreadsheets open it best.

A cell that a spreadsheet would take for a formula (OWASP, "CSV Injection") begins with an apostrophe.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

FORMULA = re.compile(r"'*[=+\-@\t\r]")


def csv_bytes(rows: Sequence[Sequence[str]]) -> bytes:
    """`rows` as a CSV file that a spreadsheet opens as it is and runs nothing from."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerows([f"'{cell}" if FORMULA.match(cell) else cell for cell in row] for row in rows)
    return stream.getvalue().encode("utf-8-sig")
