"""How long a render takes, beside what it could take: half an hour with 300 cues, in one run.

    python -m pip install -e '.[bench]'
    python -m tests.benchmarks.render_speed [--keep]

Whole processes are timed, in turns, on the same machine and disk: this program with its speech
cached; a plain block copy of the file it wrote (the floor); the same mix by ffmpeg's adelay and amix;
some of the same overlays by pydub, scaled to all. Goals are printed beside what was found; a goal
that is missed fails nothing. With `--keep` the report is also kept in render_speed.txt.

It takes about ten minutes, and 5 GB in the temporary folder (TMPDIR names another one).
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from statistics import median
from threading import Event, Thread
from typing import IO, TYPE_CHECKING, Any

from tests.helpers.reporting import goal_line, heading, load_now, print_report, tell

if TYPE_CHECKING:
    import psutil

# Nothing big is imported here: Linux counts the memory of the process that starts a child towards the
# child's peak, so this one has to stay smaller than what it measures.

HERE = Path(__file__).resolve().parent
PLAN = HERE / "render_speed.yaml"
SAMPLES = HERE.parents[1] / "samples"
REPORT = HERE / "render_speed.txt"

RATE_HZ = 48_000
OVERLAYS = 30
LIBRARIES = ("cuetrack", "numpy", "soundfile", "soxr", "pydub", "imageio-ffmpeg", "psutil")

GOAL_TIMES_FLOOR = 1.3
GOAL_TIMES_FASTER_THAN_FFMPEG = 30
GOAL_PEAK_MB = 150
GOAL_CHECK_SECONDS = 0.5
# Our reading of "memory does not grow": the list of cues may, a little; the sound may not.
GOAL_GROWTH_MB = 10
# Half a step of 16 bits.
SAME_WITHIN = 2.0**-16

Command = Sequence[str | Path]


@dataclass(frozen=True, slots=True)
class Run:
    """One whole process: wall-clock and processor time, peak memory, and what it printed."""

    seconds: float
    processor_seconds: float | None
    peak_bytes: int
    printed: str


@dataclass(frozen=True, slots=True)
class Contestant:
    """One way to the track, and the file it writes.

    `whole_seconds` is for one that does a part of the task only: it scales a run up to the whole.
    """

    name: str
    command: Command
    rounds: int
    track: Path | None = None
    whole_seconds: Callable[[Run], float] | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """What a contestant took, for the whole task."""

    contestant: Contestant
    runs: tuple[Run, ...]

    @property
    def seconds(self) -> tuple[float, ...]:
        """Wall clock of each run."""
        whole_seconds = self.contestant.whole_seconds or (lambda run: run.seconds)
        return tuple(whole_seconds(run) for run in self.runs)

    @property
    def median_seconds(self) -> float:
        """Wall clock."""
        return median(self.seconds)

    @property
    def processor_text(self) -> str:
        """Median of the time on all cores; a dash where it is unknown, or known for a part only."""
        known = [run.processor_seconds for run in self.runs if run.processor_seconds is not None]
        return "-" if self.contestant.whole_seconds or not known else f"{median(known):.2f} s"

    @property
    def peak_mb(self) -> float:
        """The largest of all runs."""
        return max(run.peak_bytes for run in self.runs) / 1e6


# Measuring a process


class Bench:
    """Starts processes in one folder, with a speech cache of their own, and measures them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._environment = os.environ | {
            "CUETRACK_CACHE_DIR": str(folder / "speech"),
            # As after an installation: modules are compiled once, not at every start.
            "PYTHONPYCACHEPREFIX": str(folder / "bytecode"),
        }
        self._environment.pop("PYTHONDONTWRITEBYTECODE", None)

    def run(self, command: Command) -> Run:
        """Runs `command` to its end; its failure ends the benchmark."""
        if hasattr(os, "sync"):
            os.sync()  # what the one before left to be written is not for this one to wait for
        with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as err:
            began = time.perf_counter()
            process = subprocess.Popen(
                [str(word) for word in command],
                cwd=self.folder,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=err,
            )
            watch = MemoryWatch(process.pid)
            processor_seconds, peak_bytes = _waited_for(process)
            seconds = time.perf_counter() - began
            peak_bytes = max(peak_bytes, watch.ended())
            if process.returncode:
                words = " ".join(str(word) for word in command[:4])
                raise SystemExit(f"{words} … ended with {process.returncode}:\n{_read(err)[-2000:]}")
            return Run(seconds, processor_seconds, peak_bytes, _read(out))

    def python(self, *arguments: str | Path) -> Run:
        """Runs this Python with `arguments`."""
        return self.run([sys.executable, *arguments])

    def in_turns(self, contestants: Sequence[Contestant]) -> list[Result]:
        """All runs of all, round by round; each writes its file anew."""
        runs: list[list[Run]] = [[] for _ in contestants]
        for turn in range(max(contestant.rounds for contestant in contestants)):
            for contestant, done in zip(contestants, runs, strict=True):
                if turn >= contestant.rounds:
                    continue
                if contestant.track:
                    contestant.track.unlink(missing_ok=True)
                done.append(self.run(contestant.command))
                tell(f"round {turn + 1}: {contestant.name}: {done[-1].seconds:.2f} s")
        return [Result(contestant, tuple(done)) for contestant, done in zip(contestants, runs, strict=True)]


class MemoryWatch:
    """The most memory that a process and its children hold at one time, as far as samples show it."""

    EVERY_SECONDS = 0.05

    def __init__(self, pid: int) -> None:
        self._pid = pid
        self._peak_bytes = 0
        self._over = Event()
        self._thread = Thread(target=self._watch, daemon=True)
        self._thread.start()

    def ended(self) -> int:
        """Stops watching; the peak in bytes."""
        self._over.set()
        self._thread.join()
        return self._peak_bytes

    def _watch(self) -> None:
        import psutil

        with suppress(psutil.Error):  # the process has just ended
            parent = psutil.Process(self._pid)
            while not self._over.wait(self.EVERY_SECONDS):
                own_command, held_bytes = parent.cmdline(), self._held_bytes(parent)
                for child in parent.children(recursive=True):
                    with suppress(psutil.Error):  # the child has
                        # One that has not begun its own program still shares all its parent's memory.
                        if child.cmdline() != own_command:
                            held_bytes += self._held_bytes(child)
                self._peak_bytes = max(self._peak_bytes, held_bytes)

    @staticmethod
    def _held_bytes(process: psutil.Process) -> int:
        memory = process.memory_info()
        # Windows tells the peak itself.
        return int(getattr(memory, "peak_wset", memory.rss))


def _waited_for(process: subprocess.Popen[Any]) -> tuple[float | None, int]:
    """Waits for the end: processor seconds and peak bytes as the system counted them, children too."""
    if not hasattr(os, "wait4"):
        process.wait()
        return None, 0
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    unit_bytes = 1 if sys.platform == "darwin" else 1024
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss * unit_bytes


def _read(file: IO[str]) -> str:
    file.seek(0)
    return file.read()


# The contestants


def render_command(plan: Path, track: Path) -> Command:
    """This program, as a user starts it."""
    return [sys.executable, "-m", "cuetrack", "render", plan, "--rate", str(RATE_HZ), "-o", track]


def contestants(track: Path, clips: Path, rounds: int, slow_rounds: int) -> list[Contestant]:
    """Who takes part; `track` is a finished render and `clips` the folder of its sounds."""
    document = _timeline(track)
    cues = len(document["cues"])

    def all_overlays(run: Run) -> float:
        overlaid_seconds = float(run.printed)
        return run.seconds - overlaid_seconds + overlaid_seconds * cues / OVERLAYS

    render, copy, safe_copy, ffmpeg, pydub = (
        track.with_stem(name) for name in ("render", "copy", "safe-copy", "ffmpeg", "pydub")
    )
    copying: list[str | Path] = [sys.executable, HERE / "block_copy.py", track]
    overlaying: list[str | Path] = [sys.executable, "-W", "ignore", HERE / "pydub_overlays.py", clips, pydub]
    sizes: list[str | Path] = [str(number) for number in (document["frames"], RATE_HZ, OVERLAYS)]
    scaled = f"pydub, {OVERLAYS} overlays scaled to {cues}"
    return [
        Contestant("cuetrack render, speech cached", render_command(PLAN, render), rounds, render),
        Contestant("block copy (the floor)", [*copying, copy], rounds, copy),
        Contestant("block copy, waiting for the disk", [*copying, safe_copy, "--safe"], rounds, safe_copy),
        Contestant(
            f"ffmpeg, {cues} x adelay + amix", ffmpeg_command(clips, document, ffmpeg), slow_rounds, ffmpeg
        ),
        Contestant(scaled, [*overlaying, *sizes], slow_rounds, pydub, all_overlays),
    ]


def ffmpeg_command(clips: Path, document: dict[str, Any], track: Path) -> Command:
    """The same mix as one filter graph: every clip an input, delayed by its start in samples (S).

    It is given the gain that brings the mix to its loudness, which the render has to find out first.
    The graph is an argument: the option that reads one from a file has changed its name over the years.
    """
    import imageio_ffmpeg

    placed = json.loads((clips / "clips.json").read_text(encoding="utf-8"))
    delays = [f"[{index}]adelay={clip['start_frame']}S[d{index}]" for index, clip in enumerate(placed)]
    inputs = "".join(f"[d{index}]" for index in range(len(placed)))
    mix = f"{inputs}amix=inputs={len(placed)}:normalize=0,volume={document['gain_db']}dB"
    whole = f"{mix},apad=whole_len={document['frames']},pan=stereo|c0=c0|c1=c0[mix]"
    graph = ";".join([*delays, whole])
    files = [word for clip in placed for word in ("-i", f"{clips.name}/{clip['file']}")]
    start = [imageio_ffmpeg.get_ffmpeg_exe(), "-nostdin", "-loglevel", "error"]
    return [*start, *files, "-filter_complex", graph, "-map", "[mix]", "-c:a", "pcm_s24le", track]


def _timeline(track: Path) -> dict[str, Any]:
    text = track.with_suffix(".timeline.json").read_text(encoding="utf-8")
    document: dict[str, Any] = json.loads(text)
    return document


# The whole benchmark


def benchmark(folder: Path, rounds: int, slow_rounds: int) -> list[str]:
    """Everything, in `folder`; the lines of the report."""
    bench, load = Bench(folder), load_now()
    track, clips = folder / "track.wav", folder / "clips"
    tell("a first render, which fills the speech cache")
    first = bench.run(render_command(PLAN, track))
    bench.python(HERE / "export_clips.py", PLAN, track.with_suffix(".timeline.json"), clips)
    made = bench.in_turns(contestants(track, clips, rounds, slow_rounds))
    *same_mixes, _ = (result.contestant for result in made)  # all but pydub's, which is a part
    largest = [_difference(bench, track, maker.track) for maker in same_mixes if maker.track]
    sameness = [f"{found:<9.2g} {maker.name}" for maker, found in zip(same_mixes, largest, strict=True)]
    checks = [_checking(plan, rounds) for plan in sorted(SAMPLES.glob("*.yaml"))]
    bench.run(checks[0].command)  # loads each module once
    checked = bench.in_turns(checks)
    long = _long_render(bench)
    return [
        *heading("speed of a render", LIBRARIES, load),
        *_about(track),
        f"first render, which spoke every phrase: {first.seconds:.1f} s",
        "",
        *_table("whole processes, in turns", made, floor=made[1], own=made[0]),
        "wall is the median of the wall clock (fastest to slowest), cpu that of the time on all cores;",
        "MB are 10^6 bytes. pydub works in 16 bits and at whole milliseconds, one overlay after another.",
        "",
        "largest difference from the first render, of full scale:",
        *sameness,
        "",
        *_table("checking a sample", checked),
        "",
        *_goals(made, max(largest), checked, long),
    ]


def _checking(plan: Path, rounds: int) -> Contestant:
    command = [sys.executable, "-m", "cuetrack", "check", plan]
    return Contestant(f"check {plan.name}", command, rounds)


def _difference(bench: Bench, track: Path, other: Path) -> float:
    """How far what a contestant wrote is from the first render, at most; it is removed."""
    largest = float(bench.python(HERE / "largest_difference.py", track, other).printed)
    other.unlink()
    return largest


def _long_render(bench: Bench) -> Run:
    """The same session, but three hours of it."""
    plan, track = bench.folder / "long.yaml", bench.folder / "long.wav"
    text = PLAN.read_text(encoding="utf-8")
    for short, long in (("length: 30:00", "length: 3:00:00"), ("rounds: 6", "rounds: 36")):
        if text.count(f"{short}\n") != 1:
            raise SystemExit(f"{PLAN.name} does not say `{short}` once")
        text = text.replace(f"{short}\n", f"{long}\n")
    plan.write_text(text, encoding="utf-8")
    tell("three hours of it")
    run = bench.run(render_command(plan, track))
    frames = _timeline(track)["frames"]
    track.unlink()
    if frames != 3 * 3600 * RATE_HZ:
        raise SystemExit(f"the long session has {frames} frames, which are not three hours")
    return run


# The report


def _about(track: Path) -> list[str]:
    """What was rendered."""
    document = _timeline(track)
    cues = document["cues"]
    spoken = sum(cue["text"] is not None for cue in cues)
    minutes = document["frames"] / document["sample_rate"] / 60
    size_mb = track.stat().st_size / 1e6
    return [
        f"session: {minutes:g} minutes, {len(cues)} cues ({spoken} spoken, {len(cues) - spoken} tones); "
        f"{document['sample_rate']} Hz stereo 24-bit WAV, {size_mb:.0f} MB",
    ]


def _table(
    title: str, results: Sequence[Result], floor: Result | None = None, own: Result | None = None
) -> list[str]:
    """One row a result; with `floor` and `own`, also how many times as long as they it took."""
    head = f"{title:<36}{'runs':>5}{'wall':>10}{'':>20}{'cpu':>10}{'peak':>9}"
    lines = [head + (f"{'x floor':>10}{'x cuetrack':>12}" if floor and own else "")]
    for result in results:
        wall, spread = result.median_seconds, f"({min(result.seconds):.2f} to {max(result.seconds):.2f})"
        row = f"{result.contestant.name:<36}{len(result.runs):>5}{wall:>8.2f} s{spread:>20}"
        row += f"{result.processor_text:>10}{result.peak_mb:>6.0f} MB"
        if floor and own:
            row += f"{wall / floor.median_seconds:>10.2f}{wall / own.median_seconds:>12.2f}"
        lines.append(row)
    return lines


def _goals(made: Sequence[Result], apart: float, checked: Sequence[Result], long: Run) -> list[str]:
    own, floor, safe_floor, by_ffmpeg, by_pydub = made
    of_floor = own.median_seconds / floor.median_seconds
    of_safe_floor = own.median_seconds / safe_floor.median_seconds
    faster = by_ffmpeg.median_seconds / own.median_seconds
    long_mb = long.peak_bytes / 1e6
    check = max(result.median_seconds for result in checked)
    goals = [
        (apart <= SAME_WITHIN, f"all write the same track, to half a step of 16 bits: {apart:.2g} apart"),
        (
            of_floor <= GOAL_TIMES_FLOOR,
            f"within {GOAL_TIMES_FLOOR} x floor: {of_floor:.2f} "
            f"({of_safe_floor:.2f} x the copy that waits for the disk, as a render does)",
        ),
        (
            faster >= GOAL_TIMES_FASTER_THAN_FFMPEG,
            f"at least {GOAL_TIMES_FASTER_THAN_FFMPEG} x faster than ffmpeg's graph: {faster:.1f} "
            f"(and {by_pydub.median_seconds / own.median_seconds:.0f} x faster than pydub)",
        ),
        (own.peak_mb < GOAL_PEAK_MB, f"peak memory under {GOAL_PEAK_MB} MB: {own.peak_mb:.0f}"),
        (
            long_mb <= own.peak_mb + GOAL_GROWTH_MB,
            f"memory does not grow (by at most {GOAL_GROWTH_MB} MB) from 30 minutes to 3 hours: "
            f"{own.peak_mb:.0f} to {long_mb:.0f} MB, in {long.seconds:.1f} s",
        ),
        (check < GOAL_CHECK_SECONDS, f"check of a sample under {GOAL_CHECK_SECONDS} s: {check:.2f}"),
    ]
    return ["goals", *(goal_line(met, what) for met, what in goals)]


def main() -> None:
    """Runs the benchmark in a temporary folder, and prints the report."""
    parser = argparse.ArgumentParser(description="Times a render beside other ways to the same file.")
    parser.add_argument(
        "--keep", action="store_true", help=f"keep the report as {REPORT.name} beside the script"
    )
    parser.add_argument("--rounds", type=int, default=5, help="runs of each quick contestant (default 5)")
    parser.add_argument("--slow-rounds", type=int, default=3, help="runs of ffmpeg and pydub (default 3)")
    arguments = parser.parse_args()
    missing = [name for name in ("cuetrack", "imageio_ffmpeg", "psutil", "pydub") if not find_spec(name)]
    if missing:
        raise SystemExit(f"missing: {', '.join(missing)}; python -m pip install -e '.[bench]' installs all")
    with tempfile.TemporaryDirectory(prefix="cuetrack-benchmark-") as folder:
        lines = benchmark(Path(folder), max(1, arguments.rounds), max(1, arguments.slow_rounds))
    print_report(lines, REPORT if arguments.keep else None)


if __name__ == "__main__":
    main()
