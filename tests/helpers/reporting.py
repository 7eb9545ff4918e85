"""What the reports and benchmarks have in common: their first lines, their goals, and where they are kept.

Nothing big is imported: Linux counts the memory of a process that starts another towards the other's peak.
"""

from __future__ import annotations

import os
import platform
import sys
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path


def heading(title: str, libraries: Sequence[str], load: str | None = None) -> list[str]:
    """The first lines of a report: what it is about, when and on what it was made."""
    return [f"CueTrack, {title}, {now()}", "", *machine(libraries), *([load] if load else []), ""]


def now() -> str:
    """The date and the time."""
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"


def machine(libraries: Sequence[str]) -> list[str]:
    """What it runs on: a line for the machine, one for Python and the libraries."""
    versions = ", ".join(f"{name} {_version(name)}" for name in libraries)
    return [
        f"{_processor()}, {os.cpu_count()} cores, {platform.system()} {platform.machine()}",
        f"Python {platform.python_version()}, {versions}",
    ]


def load_now() -> str:
    """How busy the machine is with other work, which no benchmark can keep away."""
    if not hasattr(os, "getloadavg"):
        return "load before it began: unknown"
    return f"load before it began: {os.getloadavg()[0]:.1f} processes, averaged over a minute"


def goal_line(is_met: bool, text: str) -> str:
    """The line of a report below `goals`: whether it is met, and what was found."""
    return f"{'met   ' if is_met else 'MISSED'}  {text}"


def tell(text: str) -> None:
    """Tells whoever watches how far it is."""
    print(text, file=sys.stderr, flush=True)


def print_report(lines: Iterable[str], kept: Path | None) -> None:
    """Prints a report, and keeps it in a file if one is given."""
    text = "\n".join(lines) + "\n"
    print(text, end="")
    if kept is not None:
        kept.write_text(text, encoding="utf-8")


def _processor() -> str:
    with suppress(OSError):
        for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or "unknown processor"


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "from the checkout" if name == "cuetrack" else "missing"
