"""What the inputs for each reader are made from: samples, case files, tables of both, and what was found."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from datetime import date, time, timedelta
from functools import cache
from pathlib import Path
from random import Random

from cuetrack.errors import CuetrackError
from cuetrack.plan.text import parse_plan
from tests.fuzz import csv_tables, plan_texts, workbooks

_TESTS = Path(__file__).parents[1]
_SAMPLES = _TESTS.parent / "samples"
FOUND = Path(__file__).parent / "found"

Mutation = Callable[[bytes, Random, Sequence[bytes]], bytes]
MUTATIONS: dict[str, Mutation] = {
    **dict.fromkeys(("plan", "tidy", "house", "series"), plan_texts.mutated),
    "csv": csv_tables.mutated,
    "xlsx": workbooks.mutated,
}

# A table as coaches keep them, not as ours are written.
_COACHS_TABLE = """Winter training on the quay;;;;;;
Teil;Übung;Dauer;Pause (Sek.);Seite;Material;Notizen
Aufwärmen;Marschieren;1,5 Min.;15;;;locker
Kreis;Kniebeuge am Stuhl;40s;20;;Stuhl, Matte;"langsam; ruhig"
;Rudern mit Band;40s;20-30;beide;Band;
;Ausfallschritt;0:40;;je Seite;-;
Ausklang;Atmen;2 min;;;;
"""
_EVERYTHING = """kind,part,rounds,move,work,stages,sides,rest,talk,tempo,setup,equipment,calls,cues,bed,easier,tags
session,,,,,,,,,,,,{start: {count: 3}},,{pulse: 120 bpm},,
part,Main,2,,40 s,,,20s..30s,,,,,,,,,
move,,,Row,,"slow: 20s, fast: 10s",both,,,60 bpm,Sit tall,"band, mat",,"[{at: 5s, say: Hi}]",off,"{say: Slow, work: 9s}",back
rest,,,,,,,45 s,,,,,,,,,
talk,,,,,,,,30 s,,,,,,,,
"""  # noqa: E501 - rows of a table


@cache
def seeds(reader: str) -> tuple[bytes, ...]:
    """What the inputs for `reader` are made from; never empty."""
    found = tuple(path.read_bytes() for path in sorted(FOUND.glob(f"{reader}-*")))
    return {"csv": _csv, "xlsx": _xlsx, "house": _houses, "series": _series}.get(reader, _plans)() + found


def _plans() -> tuple[bytes, ...]:
    """Those that are right come three times: changes to one that is broken mostly break it more."""
    right, broken = (sorted((_TESTS / "cases" / name).glob("*.yaml")) for name in ("timelines", "broken"))
    right += [
        path for path in sorted(_SAMPLES.rglob("*.yaml")) if path.name not in {"house.yaml", "winter.yaml"}
    ]
    return tuple(path.read_bytes() for path in (*right * 3, *broken))


def _houses() -> tuple[bytes, ...]:
    phrases = (
        b"phrases:\n  go: [Now, Row]\n  rest: {full: Easy oars., terse: Rest}\nstyle: terse\nlanguage: de\n"
    )
    return (
        (_SAMPLES / "winter" / "house.yaml").read_bytes(),
        phrases,
        b"voice: clear\nmixes: {film: [tone, bed]}\n",
    )


def _series() -> tuple[bytes, ...]:
    text = "series: Quay\nsessions:\n"
    days = "".join(
        f"  - {{date: 2026-11-{day}, plan: {'strong' if day % 2 else 'easy'}.yaml}}\n"
        for day in range(10, 20)
    )
    long = "  - date: 2026-12-01\n    plan: strong.yaml\n    level: easier\n    length: 1 min\n"
    long += "    notes: Last.\n"
    return (
        (_SAMPLES / "winter" / "winter.yaml").read_bytes(),
        (text + days).encode(),
        (text + long).encode(),
    )


def _tables(ending: str) -> tuple[bytes, ...]:
    from cuetrack.build_tables import table_bytes

    tables = []
    for plan in _plans():
        try:
            tables.append(table_bytes(parse_plan(plan.decode()), ending)[0])
        except (CuetrackError, UnicodeDecodeError):  # a case of something broken
            continue
    return tuple(dict.fromkeys(tables))


def _csv() -> tuple[bytes, ...]:
    return (
        _COACHS_TABLE.encode("utf-16"),
        _COACHS_TABLE.encode("cp1252"),
        _EVERYTHING.encode(),
        *_tables(".csv"),
    )


def _xlsx() -> tuple[bytes, ...]:
    return (_typed_workbook(), *_tables(".xlsx")[::4])


def _typed_workbook() -> bytes:
    """A workbook with every type of cell, merged cells, a formula, a hidden row and a second sheet."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    rows = (
        ("part", "rounds", "move", "work", "rest (s)", "notes"),
        ("Main", 2, "Row", time(0, 0, 40), 20, "easy"),
        (None, None, "Squat", timedelta(seconds=90), 20.5, True),
        (None, None, "Press", "40s", "=10+10", date(2026, 11, 30)),
    )
    for row in rows:
        sheet.append(row)
    sheet.merge_cells("A2:A4")
    sheet.row_dimensions[4].hidden = True
    book.create_sheet("Other")["A1"] = "move"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
