"""What a run of made inputs came to, as text."""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzz.judging import LIMIT_BYTES, LIMIT_SECONDS
from tests.fuzz.worker import Judged
from tests.helpers.reporting import goal_line, machine, now

REPORT = Path(__file__).parent / "report.txt"
_GOALS = "\ngoals\n"
_LIBRARIES = ("ruamel.yaml", "pydantic", "openpyxl", "defusedxml", "hypothesis", "atheris")
_HEAD = f"""CueTrack, made inputs for the readers
`python -m tests.fuzz.run` says how they are made.
Allowed: an error of ours, {LIMIT_SECONDS:g} s of processor time, {LIMIT_BYTES // 1024**2} MiB for the whole
process; checking may take as long beside reading, and a second more for each hour that the session lasts.
"""


@dataclass(slots=True)
class Counted:
    """One way of making inputs, and how many it made."""

    name: str
    executions: int = 0
    seconds: float = 0.0
    outcomes: Counter[str] = field(default_factory=Counter)
    remark: str = ""

    def count(self, outcome: str) -> None:
        """One more input, and what became of it."""
        self.executions += 1
        self.outcomes[outcome] += 1


Engine = Counted


@dataclass(slots=True)
class ReaderReport:
    """All that one reader was given; `faults` with what caused them."""

    reader: str
    engines: list[Counted] = field(default_factory=list)
    faults: dict[str, str] = field(default_factory=dict)
    slowest_seconds: float = 0.0
    slowest: str = ""
    peak_bytes: int = 0

    @contextmanager
    def engine(self, name: str) -> Iterator[Counted]:
        """Times what one way of making inputs does."""
        counted = Counted(name)
        self.engines.append(counted)
        start = time.monotonic()
        try:
            yield counted
        finally:
            counted.seconds = time.monotonic() - start

    def see(self, data: bytes, judged: Judged, engine: str) -> None:
        """Remembers the slowest input and the largest process."""
        self.peak_bytes = max(self.peak_bytes, judged.peak_bytes)
        if judged.verdict.seconds > self.slowest_seconds:
            self.slowest_seconds = judged.verdict.seconds
            begins = ascii(data[:60].decode("utf-8", errors="replace"))
            told = f"{len(data)} bytes, {engine}, {judged.verdict.outcome}, step `{judged.verdict.slowest}`"
            self.slowest = f"{told}; begins with {begins}"


def report_text(report: ReaderReport) -> str:
    """One reader's section."""
    on = "; ".join(machine(_LIBRARIES))
    lines = [f"== {report.reader} ==", f"{now()}; {on}, shared with other work", ""]
    for engine in report.engines:
        outcomes = ", ".join(f"{number} {outcome}" for outcome, number in sorted(engine.outcomes.items()))
        told = "; ".join(text for text in (outcomes, engine.remark) if text)
        lines.append(f"{engine.executions:8d} inputs in {engine.seconds:6.0f} s  {engine.name}: {told}")
    total = sum(engine.executions for engine in report.engines)
    seconds = sum(engine.seconds for engine in report.engines)
    lines += [
        f"{total:8d} inputs in {seconds:6.0f} s  in all",
        f"slowest: {report.slowest_seconds:.2f} s of processor time ({report.slowest})",
        f"largest process: {report.peak_bytes / 1024**2:.0f} MiB",
        f"faults: {len(report.faults) or 'none'}",
        *(f"  {fault} ({cause})" for fault, cause in report.faults.items()),
    ]
    return "\n".join(lines) + "\n"


def kept(path: Path, reports: Iterable[ReaderReport]) -> str:
    """The report in `path` with the sections of these readers replaced."""
    old = path.read_text(encoding="utf-8").partition(_GOALS)[0] if path.exists() else ""
    sections = dict(re.findall(r"(?ms)^(== \w+ ==)\n(.*?)(?=^== |\Z)", old))
    for report in reports:
        head, _, body = report_text(report).partition("\n")
        sections[head] = body
    told = _HEAD + "".join(f"\n{head}\n{body.rstrip()}\n" for head, body in sections.items())
    return f"{told}{_GOALS}{''.join(_goal(head, body) for head, body in sections.items())}"


def _goal(head: str, body: str) -> str:
    """How many inputs a reader was at fault with, of how many and when, from its section."""
    day, reader = body.split()[0], head.strip("= ")
    inputs, faults = (
        re.search(r"(\d+) inputs in +\d+ s  in all", body),
        re.search(r"^faults: (\d+)", body, re.M),
    )
    number = int(inputs[1]) if inputs else 0
    found = f"{reader}: {faults[1] if faults else 'no'} faults in {number:,} inputs, {day}"
    return goal_line(faults is None and number > 0, found) + "\n"
