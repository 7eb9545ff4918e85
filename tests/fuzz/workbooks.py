"""XLSX workbooks → broken ones: values of cells, the XML in them, the ZIP around them, and bombs."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Sequence
from random import Random

from tests.fuzz.words import CELLS, ERRORS, HEADINGS, LARGE_CELLS, NUMBERS, REFERENCES

# A little more than the readers accept.
MAX_BYTES = 1_200_000

_Members = dict[str, bytes]
_MOST_UNPACKED = 40_000_000
_SHEET = "xl/worksheets/sheet1.xml"
_TYPES = ("s", "n", "b", "e", "str", "inlineStr", "d", "x", "")
_VALUES = (b"<v>%s</v>", b"<v>%s</v>", b"<f>%s</f>", b"<f>1+1</f><v>%s</v>", b"<v/>%s", b"<is><t>%s</t></is>")
_ATTRIBUTES = ("", "../../x", "xl/x.xml", "A" * 5000, "é", "true")
_TAG = re.compile(rb"<[^<>?!]+>")
_TEXT = re.compile(rb">([^<>]+)<")
_ATTRIBUTE = re.compile(rb'(\w+)="([^"]*)"')
_CELL = re.compile(rb"<c ([^>]*?)(/>|>(.*?)</c>)", re.DOTALL)
_ROW = re.compile(rb'<row r="(\d+)".*?</row>', re.DOTALL)
# Sizes, checksums, methods and flags: the mark of each header of a ZIP file, and where they stand in it.
_ZIP_HEADERS = (
    (b"PK\x01\x02", (8, 10, 16, 20, 24, 28, 30, 42)),
    (b"PK\x03\x04", (6, 8, 14, 18, 22, 26)),
    (b"PK\x05\x06", (8, 10, 12, 16)),
)


def mutated(data: bytes, random: Random, seeds: Sequence[bytes]) -> bytes:
    """`data` with one to four changes to what is in it, and now and then one to the file itself."""
    members = _members(data)
    if members is None or random.randrange(12) == 0:
        return _bytes_change(data, random)[:MAX_BYTES]
    for _ in range(random.choice((1, 1, 2, 4))):
        random.choice(_CHANGES)(members, random, seeds)
    packed = _packed(members, random)
    if random.randrange(15) == 0:
        packed = _header_change(packed, random)
    return packed[:MAX_BYTES]


def _members(data: bytes) -> _Members | None:
    """The files in a workbook; None where it is none, or a bomb."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(info.file_size for info in archive.infolist()) > _MOST_UNPACKED:
                return None
            return {name: archive.read(name) for name in archive.namelist()} or None
    except (zipfile.BadZipFile, OSError, ValueError, RuntimeError, EOFError, zlib.error, struct.error):
        return None


def _packed(members: _Members, random: Random) -> bytes:
    stream = io.BytesIO()
    method = zipfile.ZIP_STORED if random.randrange(6) == 0 else zipfile.ZIP_DEFLATED
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content, method)
    return stream.getvalue()


def _bytes_change(data: bytes, random: Random) -> bytes:
    at, length = random.randrange(len(data) + 1), random.choice((0, 1, 4, 100))
    kind = random.choice(("cut", "delete", "insert", "replace"))
    if kind == "cut":
        return data[:at]
    if kind == "delete":
        return data[:at] + data[at + length :]
    new = bytes(random.randrange(256) for _ in range(random.choice((1, 2, 4))))
    return data[:at] + new + data[at + (len(new) if kind == "replace" else 0) :]


def _header_change(data: bytes, random: Random) -> bytes:
    mark, fields = random.choice(_ZIP_HEADERS)
    places = [found.start() for found in re.finditer(re.escape(mark), data)]
    if not places:
        return data
    at = random.choice(places) + random.choice(fields)
    value = random.choice((0, 1, 8, 9, 12, 99, 0xFFFF, 0xFFFFFFFF, 0x7FFFFFFF, random.randrange(1 << 20)))
    packed = struct.pack("<I", value)[: random.choice((2, 4))]
    return data[:at] + packed + data[at + len(packed) :]


def _xml_member(members: _Members, random: Random) -> str:
    names = [name for name in members if name.endswith((".xml", ".rels"))]
    return _SHEET if _SHEET in members and random.randrange(2) else random.choice(names or list(members))


def _escaped(text: str) -> bytes:
    return text.replace("&", "&amp;").replace("<", "&lt;").encode("utf-8", errors="replace")


def _cell_change(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    """One cell of the sheet with another type, value, style or reference."""
    sheet = members.get(_SHEET, b"")
    cells = list(_CELL.finditer(sheet))
    if not cells:
        return
    cell = random.choice(cells)
    texts = (
        LARGE_CELLS if random.randrange(10) == 0 else random.choice((CELLS, CELLS, HEADINGS, NUMBERS, ERRORS))
    )
    inner = random.choice(_VALUES) % _escaped(random.choice(texts))
    reference = _ATTRIBUTE.search(cell[1])
    place = reference[2] if reference else b"A1"
    if random.randrange(8) == 0:
        place = random.choice(REFERENCES).encode()
    style = random.choice((b"", b"", b' s="%d"' % random.choice((0, 1, 2, 3, 99, 9999999))))
    made = b'<c r="%s"%s t="%s">%s</c>' % (place, style, random.choice(_TYPES).encode(), inner)
    members[_SHEET] = sheet[: cell.start()] + made + sheet[cell.end() :]


def _attribute_change(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    words = random.choice((NUMBERS, REFERENCES, _TYPES, _ATTRIBUTES))
    _replace(members, random, _ATTRIBUTE, 2, random.choice(words).encode())


def _text_change(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    _replace(members, random, _TEXT, 1, _escaped(random.choice((*NUMBERS, *ERRORS, *CELLS))))


def _replace(members: _Members, random: Random, pattern: re.Pattern[bytes], group: int, new: bytes) -> None:
    """Other bytes in place of one that the pattern finds in one of the files."""
    name = _xml_member(members, random)
    found = list(pattern.finditer(members[name]))
    if found:
        one = random.choice(found)
        members[name] = members[name][: one.start(group)] + new + members[name][one.end(group) :]


def _tag_change(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    """A tag removed, doubled or another one, or an entity, a comment or bytes put in its place."""
    name = _xml_member(members, random)
    tags = list(_TAG.finditer(members[name]))
    if tags:
        one, other = random.choice(tags), random.choice(tags)
        signs = (b"&a;", b"<!-- x -->", b"<![CDATA[x]]>", b"\x00", b"\xff\xfe", b"&#0;")
        new = random.choice((b"", one[0] * 2, other[0], *signs))
        members[name] = members[name][: one.start()] + new + members[name][one.end() :]


def _member_change(members: _Members, random: Random, seeds: Sequence[bytes]) -> None:
    """A file in the workbook removed, swapped, replaced, renamed, or taken from another one."""
    name, other = random.choice(list(members)), random.choice(list(members))
    kind = random.choice(("remove", "swap", "replace", "rename", "take", "take"))
    if kind == "remove" and len(members) > 1:
        del members[name]
    elif kind == "swap":
        members[name], members[other] = members[other], members[name]
    elif kind == "replace":
        members[name] = random.choice((b"", b"\x00" * 100, b"<x/>", b"PK\x03\x04", random.choice(seeds)))
    elif kind == "rename":
        new = random.choice((name.upper(), f"/{name}", f"../{name}", f"{name}/", "x" * 300, "é"))
        members[new] = members.pop(name)
    else:
        theirs = _members(random.choice(seeds)) or members
        taken = random.choice(list(theirs))
        members[taken] = theirs[taken]


def _entities(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    """Entities that multiply, or that would read a file of the machine."""
    multiplying = [b'<!ENTITY e%d "%s">' % (n, (b"&e%d;" % (n - 1)) * 10) for n in range(1, 9)]
    outside = b'<!ENTITY e8 SYSTEM "file:///etc/hostname">'
    entities = random.choice((b'<!ENTITY e0 "a">' + b"".join(multiplying), outside, b'<!ENTITY % e8 "x">'))
    _replace(members, random, _TEXT, 1, b"&e8;")
    name = _xml_member(members, random)
    body = re.sub(rb"^\s*<\?xml[^>]*\?>", b"", members[name])
    members[name] = b'<?xml version="1.0"?><!DOCTYPE x [' + entities + b"]>" + body


def _deep(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    times = random.choice((100, 3000, 30_000, 60_000))
    tag = random.choice((b"row", b"c", b"is", b"x", b"si", b"r"))
    closed = (b"</%s>" % tag) * times if random.randrange(2) else b""
    name = _xml_member(members, random)
    at = random.choice([found.end() for found in _TAG.finditer(members[name])] or [0])
    members[name] = members[name][:at] + (b"<%s>" % tag) * times + closed + members[name][at:]


def _many(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    """Very many rows, cells, merged ranges, shared texts, styles, names or sheets, all packed small."""
    times = random.choice((200, 3000, 20_000, 50_000))
    end, piece = random.choice(_MANY)
    for name, content in members.items():
        if end in content:
            members[name] = content.replace(end, piece(times) + end, 1)


_MANY: tuple[tuple[bytes, Callable[[int], bytes]], ...] = (
    (b"</sheetData>", lambda n: b"".join(b'<row r="%d"><c><v>1</v></c></row>' % row for row in range(9, n))),
    (b"</sheetData>", lambda n: b"<row>" + b"<c/>" * n + b"</row>"),
    (b"</sheetData>", lambda n: b"<row/>" * n),
    (b"</sheetData>", lambda n: b'<row r="%d"><c r="XFD%d"><v>1</v></c></row>' % (n, n)),
    (b"</sheetData>", lambda n: b'<row r="1048576"><c r="A1048576"/></row>'),
    (b"</sheetData>", lambda n: b'<row><c t="inlineStr"><is><t>' + b"a " * n + b"</t></is></c></row>"),
    (b"</worksheet>", lambda n: b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>'),
    (b"</worksheet>", lambda n: b'<mergeCells><mergeCell ref="A1:A1048576"/></mergeCells>'),
    (b"</worksheet>", lambda n: b"<mergeCells>" + b'<mergeCell ref="A1:B900"/>' * n + b"</mergeCells>"),
    (b"</worksheet>", lambda n: b'<conditionalFormatting sqref="%s"/>' % (b"A1:B2 " * n)),
    (b"</worksheet>", lambda n: b"<cols>" + b'<col min="1" max="16384" hidden="1"/>' * n + b"</cols>"),
    (b"</sst>", lambda n: b"<si><t>a</t></si>" * n),
    (b"</sst>", lambda n: b"<si><t>" + b"a" * n * 10 + b"</t></si>"),
    (b"</cellXfs>", lambda n: b"<xf/>" * n),
    (b"</sheets>", lambda n: b'<sheet name="a" sheetId="9" r:id="rId1"/>' * n),
    (b"</workbook>", lambda n: b"<definedNames>" + b'<definedName name="a"/>' * n + b"</definedNames>"),
)


def _more_members(members: _Members, random: Random, seeds: Sequence[bytes]) -> None:
    """Workbooks in workbooks, very many files, files that unpack to very much."""
    kind = random.choice(("nested", "many", "zeros", "blanks"))
    if kind == "nested":
        members["xl/embeddings/book.xlsx"] = random.choice(seeds)
    elif kind == "many":
        members |= {f"xl/media/{number}.png": b"x" for number in range(random.choice((50, 301, 5000)))}
    elif kind == "zeros":
        members["xl/media/zeros.bin"] = b"\x00" * random.choice((100_000, 1_900_000, 20_000_000))
    else:
        members[_SHEET] = random.choice((b" ", b"<row/>", b"\n")) * random.choice((1000, 300_000))


def _dimension(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    new = b'<dimension ref="%s"/>' % random.choice(REFERENCES).encode()
    members[_SHEET] = re.sub(rb"<dimension [^>]*>", lambda _: new, members.get(_SHEET, b""))


def _row_change(members: _Members, random: Random, _: Sequence[bytes]) -> None:
    """A row very often, or with another number."""
    sheet = members.get(_SHEET, b"")
    rows = list(_ROW.finditer(sheet))
    if not rows:
        return
    one, number = random.choice(rows), random.choice((*NUMBERS, "1000", "1001", "5")).encode()
    renumbered = re.sub(rb'r="([A-Z]*)\d+"', lambda found: b'r="' + found[1] + number + b'"', one[0])
    made = random.choice((one[0] * random.choice((2, 50, 2000)), renumbered))
    members[_SHEET] = sheet[: one.start()] + made + sheet[one.end() :]


_CHANGES: tuple[Callable[[_Members, Random, Sequence[bytes]], None], ...] = (
    *(_cell_change, _cell_change, _cell_change, _cell_change, _attribute_change, _attribute_change),
    *(_text_change, _text_change, _tag_change, _tag_change, _member_change, _entities, _deep, _many),
    *(_more_members, _dimension, _row_change),
)
