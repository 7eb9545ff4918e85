"""CSV tables → broken ones: cells, headings, separators, quotes, encodings and sizes changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

from tests.fuzz.words import CELLS, HEADINGS, LARGE_CELLS

# A little more than the readers accept.
MAX_BYTES = 1_200_000

_SEPARATORS = (",", ";", "\t", "|", ":", " ")
_ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32", "utf-7", "cp037")
_SIGNS = ('"', '""', ",", ";", "\t", "\n", "\r", "\r\n", "\x00", "'", "\\", " ", "\x0b", "\x85", "\u2028")
_FIRST_LINES = ("sep=;", "sep=\t", "sep=,", "", "Quay winter training", ",,,")

_Rows = list[list[str]]


def mutated(data: bytes, random: Random, seeds: Sequence[bytes]) -> bytes:
    """`data` with one to four changes; never longer than `MAX_BYTES`."""
    text = _decoded(data)
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        text = random.choice(_CHANGES)(text, random, seeds)[:MAX_BYTES]
    return _encoded(text, random)[:MAX_BYTES]


def _decoded(data: bytes) -> str:
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return data.decode("utf-16", errors="replace")
    return data.decode("utf-8-sig", errors="replace")


def _encoded(text: str, random: Random) -> bytes:
    """Mostly UTF-8; now and then in another encoding, or with a byte at fault."""
    encoding = random.choice(_ENCODINGS) if random.randrange(5) == 0 else "utf-8"
    data = text.encode(encoding, errors="replace")
    if data and random.randrange(10) == 0:
        at = random.randrange(len(data))
        new = random.choice((b"\x00", b"\xff", b"\xff\xfe", b"\xc3", b"\x81", b"\r", b'"', b""))
        data = data[:at] + new + data[at + 1 :]
    return data


def _separator(text: str) -> str:
    head = text.split("\n", 1)[0]
    return max(_SEPARATORS[:3], key=head.count)


def _on_rows(change: Callable[[_Rows, Random], None]) -> Callable[[str, Random, Sequence[bytes]], str]:
    """A change of cells as one of the text, whatever quotes it has."""

    def changed(text: str, random: Random, _: Sequence[bytes]) -> str:
        separator = _separator(text)
        rows = [line.split(separator) for line in text.split("\n")]
        change(rows, random)
        return "\n".join(separator.join(row) for row in rows)

    return changed


def _quoted(cell: str, random: Random) -> str:
    return '"' + cell.replace('"', '""') + '"' if random.randrange(3) else cell


def _cell_change(rows: _Rows, random: Random) -> None:
    row = random.choice(rows)
    cell = random.choice(LARGE_CELLS if random.randrange(8) == 0 else CELLS)
    row[random.randrange(len(row))] = _quoted(cell, random)


def _heading_change(rows: _Rows, random: Random) -> None:
    rows[0][random.randrange(len(rows[0]))] = _quoted(random.choice(HEADINGS), random)


def _new_column(rows: _Rows, random: Random) -> None:
    column, filled = random.randrange(len(rows[0])), random.choice(CELLS)
    for number, row in enumerate(rows):
        row.insert(column, _quoted(random.choice(HEADINGS) if number == 0 else filled, random))


def _other_columns(rows: _Rows, random: Random) -> None:
    """A column removed, or one that stands in front as well."""
    column, doubled = random.randrange(len(rows[0])), random.randrange(2)
    for row in rows:
        if column < len(row):
            row.insert(0, row[column]) if doubled else row.pop(column)


def _row_change(text: str, random: Random, seeds: Sequence[bytes]) -> str:
    lines = text.split("\n")
    at, other = random.randrange(len(lines)), random.randrange(len(lines))
    kind = random.choice(("delete", "double", "swap", "take", "first"))
    if kind == "delete":
        del lines[at]
    elif kind == "double":
        lines.insert(other, lines[at])
    elif kind == "swap":
        lines[at], lines[other] = lines[other], lines[at]
    elif kind == "take":
        lines.insert(other, random.choice(_decoded(random.choice(seeds)).split("\n")))
    else:
        lines.insert(0, random.choice(_FIRST_LINES))
    return "\n".join(lines)


def _sign_change(text: str, random: Random, _: Sequence[bytes]) -> str:
    at = random.randrange(len(text) + 1)
    return text[:at] + random.choice(_SIGNS) + text[at + random.choice((0, 0, 1)) :]


def _separator_change(text: str, random: Random, _: Sequence[bytes]) -> str:
    return text.replace(random.choice(_SEPARATORS[:3]), random.choice(_SEPARATORS))


def _line_ends(text: str, random: Random, _: Sequence[bytes]) -> str:
    return text.replace("\n", random.choice(("\r\n", "\r", "\n\n", "\x0b", "\u2028")))


def _cut(text: str, random: Random, _: Sequence[bytes]) -> str:
    at = random.randrange(len(text) + 1)
    return text[:at] if random.randrange(3) else text[at:]


def _many_rows(rows: _Rows, random: Random) -> None:
    at = random.randrange(len(rows))
    rows[at:at] = [rows[at]] * min(random.choice((10, 900, 1001, 30_000)), _room(rows[at]))


def _many_columns(rows: _Rows, random: Random) -> None:
    at = random.randrange(len(rows))
    times = random.choice((3, 30, 101, 30_000))
    if random.randrange(2):
        rows[at] = rows[at] * min(times, _room(rows[at]))
    else:
        rows[at] = [*rows[at], *[""] * times]


def _room(row: Sequence[str]) -> int:
    return MAX_BYTES // (sum(map(len, row)) + len(row))


def _long_cell(rows: _Rows, random: Random) -> None:
    row = random.choice(rows)
    begins = random.choice(("", "", "[", "{", '""'))
    sign = random.choice(
        ("a", '""', "{a: b},", "[", "a, ", "1:", "é", "\n", "'", "\\u0041", "&a ", "9", " ", "and ")
    )
    row[random.randrange(len(row))] = f'"{begins}{sign * random.choice((50, 3000, 100_000))}"'


def _full_column(rows: _Rows, random: Random) -> None:
    """A column in which every row of very many holds several values."""
    key, cell = random.choice(
        (
            ("cues", "[{at: 5s, say: Hi}, {at: 9s, tone: soft}]"),
            ("calls", "{start: {count: 3}, finish: {warn: 9s}, a: b}"),
            ("tags", "a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p"),
            ("stages", "a: 20s, b: 10s, c: 5s"),
            ("bed", "{pulse: 120 bpm}"),
        )
    )
    column = len(rows[0])
    rows[0].append(key)
    for row in rows[1:]:
        row += [""] * (column - len(row)) + [f'"{cell}"']
    rows += [rows[-1]] * random.choice((0, 10, 300, 950))


_CHANGES: tuple[Callable[[str, Random, Sequence[bytes]], str], ...] = (
    *map(_on_rows, (_cell_change, _cell_change, _cell_change, _heading_change, _new_column, _other_columns)),
    *(_row_change, _row_change, _sign_change, _separator_change, _line_ends, _cut),
    *map(_on_rows, (_many_rows, _many_columns, _long_cell, _full_column)),
)
