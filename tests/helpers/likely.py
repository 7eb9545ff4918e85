"""Plan texts and files as arrangements by estimated lengths: no voice is needed for what pages show."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from cuetrack import build
from cuetrack.conform.arrangement import Arrangement

TOP = Path(__file__).parents[2]
SAMPLES = sorted((TOP / "samples").glob("*.yaml"))
CASES = sorted((TOP / "tests" / "cases" / "timelines").glob("*.yaml"))

# What a page has to show as it is written, whatever its format takes it for.
UNTIDY_TEXTS = (
    "<script>alert(1)</script> </title>",
    "\"quotes\", 'apostrophes' & ampersands; {{ braces }} \\ backslash",
    "שלום לרציף, ثم إلى اليمين",
    "rowers 🚣🏽‍♀️ on the quay 🌊",
    "00:01 --> 00:02 NOTE arrow",
    "Abcdefghij" * 11 + " end",
)


def likely(plan: Path, rate_hz: int = 48_000, mixes: tuple[str, ...] = ()) -> Arrangement:
    """The arrangement of a plan file."""
    return build.likely_arrangement(build.compile_plan(plan, mixes=mixes), rate_hz)  # type: ignore[arg-type]


def likely_of(text: str, rate_hz: int = 48_000) -> Arrangement:
    """The arrangement of a plan's text."""
    with TemporaryDirectory() as folder:
        plan = Path(folder) / "plan.yaml"
        plan.write_text(text, encoding="utf-8")
        return likely(plan, rate_hz)


def untidy_plan() -> str:
    """A plan whose every text is one that a careless page would trip over."""
    return "".join(_untidy_lines())


def _untidy_lines() -> Iterator[str]:
    def quoted(text: str) -> str:
        return "'" + text.replace("'", "''") + "'"

    yield f"session: {quoted(UNTIDY_TEXTS[0])}\nlead-in: 60s\nparts:\n"
    yield f"  - part: {quoted(UNTIDY_TEXTS[1])}\n    rest: 60s\n    steps:\n"
    for text in UNTIDY_TEXTS:
        yield f"      - move: {quoted(text)}\n        setup: {quoted(text)}\n        work: 40s\n"
        yield f"        equipment: [{quoted(text[:40])}]\n        notes: {quoted(text)}\n"
        yield f"        easier: {quoted(text)}\n        harder: {quoted(text)}\n        sides: both\n"
