"""How long a batch takes: on two processes beside one, and by the number of plans and of cues.

    python -m pip install -e '.[bench]'
    python -m tests.benchmarks.batch_speed [--keep]

Whole processes of `cuetrack batch` and `cuetrack render`, timed on the same machine and disk. Two processes
against one: 200 sessions of five minutes, their words spoken before, the medians of three turns. Plans: 10,
100 and 1,000 short sessions, made, and looked at again with `--changed` when nothing is. Cues: one session of
10, 100 and 1,000 rounds of 6 s with one tone each, so of as many times the cues and length. Costs that are
straight lines lie on the line through the first and the last: how far the middle one is off is told. What a
user would do instead, a render after the other from the shell, stands beside the batch.

With `--keep` the report is kept in batch_speed.txt, and its plot in batch_speed.png. It takes about twenty
minutes on two cores, and 4 GB in the temporary folder (TMPDIR names another one).
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from tests.benchmarks.render_speed import Bench
from tests.helpers.many_plans import write_plans
from tests.helpers.reporting import goal_line, heading, load_now, print_report, tell

REPORT = Path(__file__).with_suffix(".txt")
PLOT = Path(__file__).with_suffix(".png")
LIBRARIES = ("cuetrack", "numpy", "soundfile", "joblib", "filelock")
NUMBERS = (10, 100, 1_000)
MANY, TURNS, GOAL_TIMES = 200, 3, 1.8
# How far from the straight line a cost still counts as one on machines whose speed swings.
GOAL_OFF = 0.25

SPOKEN = """session: Boathouse circuit, set {number}
lead-in: 10s
parts:
  - part: Main
    rounds: 2
    rest: 15s
    steps:
      - {{move: March, work: 40s}}
      - {{move: Band row, setup: Band around the feet., work: 40s}}
      - {{move: Chair squat, setup: Chair behind you., work: 40s}}
"""
ONE_CUE_A_ROUND = """session: Quay steps
lead-in: 3s
calls: {{announce: off, start: {{by: none}}, finish: {{by: none}}}}
parts:
  - part: Main
    rounds: {rounds}
    rest: 2s
    steps:
      - {{move: March, work: 4s, cues: [{{at: 0s, tone: soft}}]}}
"""


@dataclass(frozen=True)
class Line:
    """A cost at each number."""

    what: str
    numbers: tuple[int, ...]
    seconds: tuple[float, ...]

    @property
    def each_seconds(self) -> float:
        """What one more costs."""
        return (self.seconds[-1] - self.seconds[0]) / (self.numbers[-1] - self.numbers[0])

    def on_line_seconds(self, number: int) -> float:
        """What so many would cost on the line."""
        return self.seconds[0] + (number - self.numbers[0]) * self.each_seconds

    @property
    def off(self) -> float:
        """How far the middle one is off the line through the others, as a share."""
        straight = self.on_line_seconds(self.numbers[1])
        return self.seconds[1] / straight - 1


class _Costs:
    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    def command(self, *words: str | Path) -> tuple[str | Path, ...]:
        return (sys.executable, "-m", "cuetrack", *words)

    def batch_seconds(self, plans: Path, tracks: Path, *more: str) -> float:
        run = self.bench.run(self.command("batch", plans, "-o", tracks, "--format", "flac", *more))
        tell(f"{plans.name} {' '.join(more)}: {run.seconds:.1f} s")
        return run.seconds

    def two_against_one(self) -> tuple[list[float], list[float], float]:
        """Seconds on one process, on two, and by renders one after the other (a tenth of them, scaled)."""
        plans = self.bench.folder / "spoken"
        plans.mkdir()
        for number in range(MANY):
            path = plans / f"set-{number:03}.yaml"
            path.write_text(SPOKEN.format(number=number), encoding="utf-8")
        tracks = self.bench.folder / "tracks"
        self.batch_seconds(plans, tracks)  # which speaks everything once
        one: list[float] = []
        two: list[float] = []
        for _ in range(TURNS):
            for processes, taken in (("1", one), ("2", two)):
                shutil.rmtree(tracks)
                taken.append(self.batch_seconds(plans, tracks, "--processes", processes))
        few = MANY // 10
        alone = sum(
            self.bench.run(self.command("render", path, "-o", self.bench.folder / "alone.flac")).seconds
            for path in sorted(plans.iterdir())[:few]
        )
        shutil.rmtree(tracks)
        return one, two, alone * MANY / few

    def by_plans(self) -> tuple[Line, Line]:
        """Made, and looked at again."""
        made, again = [], []
        for number in NUMBERS:
            plans = self.bench.folder / f"plans-{number}"
            write_plans(plans, number)
            tracks = self.bench.folder / f"tracks-{number}"
            made.append(self.batch_seconds(plans, tracks, "--processes", "2"))
            again.append(self.batch_seconds(plans, tracks, "--processes", "2", "--changed"))
            shutil.rmtree(tracks)
        return (
            Line("batch, two processes: plans", NUMBERS, tuple(made)),
            Line("batch --changed, nothing is: plans", NUMBERS, tuple(again)),
        )

    def by_cues(self) -> Line:
        """One session of more and more rounds, with one tone each."""
        taken = []
        for number in NUMBERS:
            path = self.bench.folder / f"cues-{number}.yaml"
            path.write_text(ONE_CUE_A_ROUND.format(rounds=number), encoding="utf-8")
            track = self.bench.folder / "cues.wav"
            runs = [self.bench.run(self.command("render", path, "-o", track)).seconds for _ in range(TURNS)]
            taken.append(median(runs))
            tell(f"{number} rounds: {taken[-1]:.2f} s")
        return Line("render to WAV, median of three: cues", NUMBERS, tuple(taken))


def _report(
    ones: Sequence[float], twos: Sequence[float], alone: float, lines: Sequence[Line], load: str
) -> Iterator[str]:
    one, two = median(ones), median(twos)
    yield from heading("speed of a batch", LIBRARIES, load)
    yield f"{MANY} sessions of five minutes to FLAC, words spoken before; medians of {TURNS} turns"
    yield f"  one process        {one:8.1f} s   from {min(ones):.1f} to {max(ones):.1f}"
    yield f"  two processes      {two:8.1f} s   from {min(twos):.1f} to {max(twos):.1f}"
    yield f"  one / two          {one / two:8.2f}"
    yield f"  renders in a row   {alone:8.1f} s   scaled from {MANY // 10}; {alone / two:.2f} times as long\n"
    for line in lines:
        yield line.what
        for number, seconds in zip(line.numbers, line.seconds, strict=True):
            yield f"  {number:6,}  {seconds:8.2f} s   on the line {line.on_line_seconds(number):8.2f} s"
        yield f"  one more costs {line.each_seconds * 1000:.1f} ms; the middle one is off by {line.off:+.0%}"
    yield "\ngoals"
    yield goal_line(one / two >= GOAL_TIMES, f"two processes {GOAL_TIMES} times faster: {one / two:.2f}")
    for line in lines:
        yield goal_line(
            abs(line.off) <= GOAL_OFF, f"straight within {GOAL_OFF:.0%}, {line.what}: {line.off:+.0%}"
        )


def _plot(lines: Sequence[Line], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 3.6), layout="constrained")
    for axes, line in zip(figure.subplots(1, len(lines)), lines, strict=True):
        ends = [line.numbers[0], line.numbers[-1]]
        axes.plot(ends, [line.on_line_seconds(number) for number in ends], color="0.7")
        axes.plot(line.numbers, line.seconds, "o", color="black")
        axes.set_title(line.what.split(":")[0], fontsize=9)
        axes.set_xlabel(line.what.split(":")[1])
        axes.set_ylabel("seconds")
        axes.set_ylim(bottom=0)
    figure.savefig(path, dpi=100)


def main() -> None:
    """Runs the benchmark and prints its report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--keep", action="store_true", help=f"keep {REPORT.name} and {PLOT.name}")
    chosen = parser.parse_args()
    load = load_now()
    with tempfile.TemporaryDirectory() as folder:
        costs = _Costs(Bench(Path(folder)))
        ones, twos, alone = costs.two_against_one()
        lines = (*costs.by_plans(), costs.by_cues())
    print_report(_report(ones, twos, alone, lines, load), REPORT if chosen.keep else None)
    if chosen.keep:
        _plot(lines, PLOT)


if __name__ == "__main__":
    main()
