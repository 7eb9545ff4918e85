"""Whether a night of renders uses more and more of a machine: its memory, its open files, its speech cache.

    python -m pip install -e '.[bench]'
    python -m tests.reports.all_night [--keep] [--minutes 20]

The samples are rendered in one process, over and over, in all levels, and in mixes and formats of each
kind, for as long as is asked, mono and at 22,050 Hz so that there are many: the report says how many. The
cache's limit is set so low that it has to throw clips away. After every third render the process tells
its memory, its open files, its threads and children, and the size of the cache. The first quarter fills
what is kept for good; from the second on all has to stay as it is: the mean of the last quarter within 5
% or 10 MB of that of the second.

With `--keep` the report is kept in all_night.txt.
"""

from __future__ import annotations

import argparse
import itertools
import os
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import mean

import psutil

from cuetrack import build
from cuetrack.speech.cache import ClipCache
from tests.helpers.reporting import goal_line, heading, print_report, tell

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).with_suffix(".txt")
LIBRARIES = ("cuetrack", "numpy", "soundfile", "soxr", "imageio-ffmpeg")
CACHE_MB = 16
MOST_GROWTH, MOST_GROWTH_MB = 0.05, 10.0
VERSIONS = tuple(
    itertools.product(
        sorted((ROOT / "samples").glob("*.yaml")),
        ("easier", "standard", "harder"),
        (("wav", ("class", "ear", "film")), ("mp3", ("class",)), ("flac", ("ear",)), ("m4a", ("film",))),
    )
)


@dataclass(frozen=True)
class Look:
    """What the process has after a round."""

    minutes: float
    renders: int
    memory_mb: float
    open_files: int
    threads: int
    children: int
    cache_mb: float


def _look(process: psutil.Process, began: float, renders: int) -> Look:
    return Look(
        (time.monotonic() - began) / 60,
        renders,
        process.memory_info().rss / 1e6,
        process.num_fds() if hasattr(process, "num_fds") else process.num_handles(),
        process.num_threads(),
        len(process.children(recursive=True)),
        ClipCache().summary().bytes / 1e6,
    )


def looks(minutes: float, folder: Path) -> Iterator[Look]:
    """One after every third render, for so many minutes; and of all versions, three times at least."""
    process, began, renders = psutil.Process(), time.monotonic(), 0
    while renders < 3 * len(VERSIONS) or time.monotonic() - began < minutes * 60:
        for plan, level, (ending, mixes) in VERSIONS:
            build.render(
                plan,
                folder / f"{plan.stem}.{ending}",
                rate_hz=22_050,
                channels=1,
                level=level,
                mixes=mixes,
                quality="small",
            )
            renders += 1
            if renders % 3 == 0:
                yield _look(process, began, renders)


def _report(found: Sequence[Look]) -> Iterator[str]:
    yield from heading("renders for a night in one process", LIBRARIES)
    yield "minutes  renders  memory MB  open files  threads  children  cache MB"
    step = max(1, len(found) // 40)
    for one in (*found[:-1:step], found[-1]):
        yield (
            f"{one.minutes:7.1f}{one.renders:9}{one.memory_mb:11.1f}{one.open_files:12}{one.threads:9}"
            f"{one.children:10}{one.cache_mb:10.2f}"
        )
    quarters = [found[len(found) * part // 4 : len(found) * (part + 1) // 4] for part in range(4)]
    before, after = ([one.memory_mb for one in quarters[part]] for part in (1, 3))
    allowed = max(MOST_GROWTH_MB, MOST_GROWTH * mean(before))
    grown = mean(after) - mean(before)
    yield f"\n{found[-1].renders} renders in {found[-1].minutes:.1f} minutes"
    yield "\ngoals"
    yield goal_line(
        grown <= allowed,
        f"memory flat: {mean(before):.1f} MB in the second quarter, {grown:+.1f} MB in the last",
    )
    most = [max(one.open_files for one in quarters[part]) for part in (1, 3)]
    yield goal_line(most[1] <= most[0], f"open files flat: at most {most[0]}, then {most[1]}")
    children = max(one.children for one in found)
    yield goal_line(children == 0, f"no process left running: {children}")
    largest = max(one.cache_mb for one in found)
    yield goal_line(largest <= CACHE_MB, f"the cache within its {CACHE_MB} MB: at most {largest:.2f}")


def main() -> None:
    """Renders, looks, and prints the report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    parser.add_argument("--minutes", type=float, default=20)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"CUETRACK_CACHE_DIR": str(Path(folder) / "cache"), "CUETRACK_CACHE_MB": str(CACHE_MB)}
        found = []
        for one in looks(chosen.minutes, Path(folder)):
            found.append(one)
            tell(str(one))
    print_report(_report(found), REPORT if chosen.keep else None)


if __name__ == "__main__":
    main()
