"""Renders and batches killed at random instants: what lies there then, and after the same call again.

    python -m tests.reports.killed [--times 300] [--seed 1] [--keep]

Each run is killed (SIGKILL) at an instant drawn evenly from the length of an undisturbed one, a batch a
moment after a drawn number of its tracks: the process alone, as a system without memory does it, or it
and all it has started, as a power cut does. (That also loses what is not on the disk yet, which is not
tried here.) With `--keep` the report is kept in killed.txt.
The exit code is 1 if a file was damaged or a second call did not set all right.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from tests.helpers.killing import BATCH, RENDERS, Killed, Killing
from tests.helpers.reporting import goal_line, heading, print_report

REPORT = Path(__file__).with_suffix(".txt")
LIBRARIES = ("cuetrack", "numpy", "soundfile", "joblib", "filelock", "imageio-ffmpeg")
# A batch starts processes and takes as long as many renders: so many of the runs are one.
_BATCH_SHARE = 0.12


def main() -> int:
    """Runs and reports."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--times", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--keep", action="store_true")
    asked = options.parse_args()
    drawn = random.Random(asked.seed)
    runs: list[Killed] = []
    # Whoever interrupts it gets the figures so far.
    with tempfile.TemporaryDirectory() as folder, suppress(KeyboardInterrupt):
        killing = Killing(Path(folder), asked.seed)
        for number in range(1, asked.times + 1):
            kind = BATCH if drawn.random() < _BATCH_SHARE else drawn.choice(RENDERS)
            over_old, whole_group = drawn.random() < 0.5, drawn.random() < 0.5
            one = killing.run(kind, over_old=over_old, whole_group=whole_group)
            runs.append(one)
            for fault in one.faults:
                print(f"run {number}, {kind}: {fault}", file=sys.stderr)
            if sys.stderr.isatty():
                print(f"\r{number} of {asked.times}", end="", file=sys.stderr, flush=True)
    print_report(report(runs, asked.seed), REPORT if asked.keep else None)
    return 1 if any(one.faults for one in runs) else 0


def report(runs: Sequence[Killed], seed: int) -> Iterator[str]:
    """The figures of all runs, a row for each kind."""
    yield from heading("runs killed at random instants", LIBRARIES)
    yield f"{len(runs)} runs, seed {seed}: when they were killed, what was found\n"
    headings = f"{'runs':>6}{'before':>8}{'writing':>9}{'after':>7}{'hidden':>8}{'tracks':>8}{'faults':>8}"
    yield f"{'':24}{headings}"
    for kind in (*RENDERS, BATCH):
        some = [one for one in runs if one.kind == kind]
        if some:
            yield f"{kind!s:24}{_row(some)}"
    yield f"{'all':24}{_row(runs)}\n"
    group = [one for one in runs if one.whole_group]
    listed = [one for one in runs if one.listed]
    lines = (
        ("killed with all that they had started", len(group)),
        ("the process alone", len(runs) - len(group)),
        ("over the files of a plan's version before", sum(one.over_old for one in runs)),
        ("files looked at after the kill", sum(one.files for one in runs)),
        ("sounds that are whole, decoded to their end", sum(one.sounds for one in runs)),
        ("tracks that stand as their timeline says", sum(one.verified for one in runs)),
        ("tracks whose timeline is of the other version", sum(one.of_two for one in runs)),
        ("hidden files left over by the kills", sum(one.hidden for one in runs)),
        ("hidden files left over after the second call", sum(one.hidden_at_end for one in runs)),
        ("temporary files and folders left over", sum(one.temporary for one in runs)),
        ("processes that did not end by themselves", sum(one.outlived for one in runs)),
        ("batches killed with tracks in their manifest", len(listed)),
        ("tracks in those manifests", sum(one.listed for one in listed)),
        ("of them kept by the second call", sum(one.kept for one in listed)),
        ("faults", sum(len(one.faults) for one in runs)),
    )
    yield from (f"{name:48}{figure:6}" for name, figure in lines)
    figures = dict(lines)
    yield "\ngoals"
    yield goal_line(
        figures["faults"] == 0, f"no file damaged: {figures['faults']} faults in {len(runs)} runs"
    )
    kept, listed_tracks = figures["of them kept by the second call"], figures["tracks in those manifests"]
    yield goal_line(
        kept == listed_tracks, f"nothing done is done again: {kept} of {listed_tracks} tracks kept"
    )
    hidden = figures["hidden files left over after the second call"]
    yield goal_line(
        hidden == 0, f"what was left over is removed: {hidden} hidden files after the second call"
    )


def _row(some: Iterable[Killed]) -> str:
    runs = list(some)
    when = Counter(one.when for one in runs)
    hidden, tracks = sum(one.hidden for one in runs), sum(one.verified for one in runs)
    faults = sum(len(one.faults) for one in runs)
    return (
        f"{len(runs):6}{when['before']:8}{when['writing']:9}{when['after']:7}{hidden:8}{tracks:8}{faults:8}"
    )


if __name__ == "__main__":
    sys.exit(main())
