"""Every benchmark and report once more, and all their goals in one place.

    python -m pip install -e '.[bench,fuzz]'
    python -m tests.reports.figures [--only NAME]... [--collect]

Each of them is run one after the other and keeps its own report; what they say of their goals is then kept
in figures.txt, with the machine and the date of each. It takes about four hours on two cores, which should
have nothing else to do: the first five are times. `--only` runs some and takes the others as they were
kept, `--collect` takes all of them so.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.helpers.reporting import print_report, tell

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).with_suffix(".txt")
GOALS = "\ngoals\n"


@dataclass(frozen=True)
class Part:
    """A program that keeps a report, and what it is told beside `--keep`."""

    module: str
    arguments: tuple[str, ...] = ()
    kept_as: str | None = None

    @property
    def name(self) -> str:
        return self.module.split(".")[-2 if self.kept_as else -1]

    @property
    def kept(self) -> Path:
        place = Path(*self.module.split("."))
        return place.with_name(self.kept_as) if self.kept_as else place.with_suffix(".txt")


PARTS = (
    Part("tests.benchmarks.render_speed"),
    Part("tests.benchmarks.music_speed"),
    Part("tests.benchmarks.speech_speed"),
    Part("tests.benchmarks.align_speed"),
    Part("tests.benchmarks.batch_speed"),
    Part("tests.reports.whole_way"),
    Part("tests.reports.loudness"),
    Part("tests.reports.heard"),
    Part("tests.reports.align_grid"),
    Part("tests.reports.killed"),
    Part("tests.reports.all_night"),
    Part("tests.fuzz.run", ("--minutes", "60", "--reader", "all"), "report.txt"),
)


def collected() -> Iterator[str]:
    """The lines of figures.txt: of each report its heading and its goals."""
    yield "CueTrack, every figure that has a goal, as the reports say that are kept beside their programs."
    yield "All are made again by `python -m tests.reports.figures`.\n"
    goals: list[str] = []
    for part in PARTS:
        text = (ROOT / part.kept).read_text(encoding="utf-8")
        about, found, told = text.rpartition(GOALS)
        if not found:
            raise SystemExit(f"{part.kept.as_posix()} says nothing of goals")
        title, machine, *_ = about.split("\n\n")
        yield f"== {title.splitlines()[0]}\n{part.kept.as_posix()}"
        if not machine.startswith("=="):  # each reader that is fed has its own
            yield machine
        yield told
        goals += told.splitlines()
    missed = [goal for goal in goals if goal.startswith("MISSED")]
    yield f"{len(goals)} goals, {len(goals) - len(missed)} met, {len(missed)} missed"


def main() -> int:
    """Runs what is asked for, and keeps all goals; 1 if one is missed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    names = [part.name for part in PARTS]
    parser.add_argument("--only", action="append", choices=names, help="run this one; may be repeated")
    parser.add_argument("--collect", action="store_true", help="run nothing")
    chosen = parser.parse_args()
    for part in () if chosen.collect else PARTS:
        if chosen.only is None or part.name in chosen.only:
            tell(f"== {part.name}")
            command = [sys.executable, "-m", part.module, "--keep", *part.arguments]
            subprocess.run(command, cwd=ROOT, check=False)  # what it finds is in what it keeps
    print_report(collected(), REPORT)
    return 1 if "\nMISSED" in REPORT.read_text(encoding="utf-8") else 0


if __name__ == "__main__":
    sys.exit(main())
