"""How long `cuetrack align` takes for half an hour, and how much memory for two hours, in one run.

    python -m pip install -e '.[bench]'
    python -m tests.benchmarks.align_speed [--keep]

A sample is played in a simulated room (`tests/helpers/rooms.py`). Whole processes are timed, in turns: this
program with its words spoken before; and beside it plain cross-correlation of recording and track by SciPy,
both at 8 kHz, which knows one stretch, no drift and no report. For memory the half hour is recorded four
times in a row, as one recording. With `--keep` the report is kept in align_speed.txt.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.benchmarks.render_speed import Bench, Contestant, Result, Run
from tests.helpers.reporting import goal_line, heading, load_now, print_report

REPORT = Path(__file__).with_suffix(".txt")
ROOT = Path(__file__).resolve().parents[2]
PLAN = ROOT / "samples" / "slipway-intervals.yaml"
LIBRARIES = ("cuetrack", "numpy", "scipy", "soxr", "soundfile", "pyroomacoustics")
GOAL_SECONDS, GOAL_PEAK_MB = 10.0, 300.0
RUNS = 5

# In processes of their own: this one has to stay smaller than what it measures.
IN_A_ROOM = """
import sys
from pathlib import Path
plan, folder, times, root = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
sys.path.insert(0, root)
from tests.helpers.rooms import Room, recorded_in_room
from tests.helpers.takes import Played
from tests.reports.align_grid import ROOM_HZ, track
whole = track(Path(plan))
played = [Played(0.0, len(whole) / ROOM_HZ, 3.0) for _ in range(times)]
room = Room(0.5, 2, 10, noise="music", drift_ppm=80, seed=(2026, 70))
folder.mkdir()
print(recorded_in_room(whole, played, room, folder).path)
"""
PLAINLY = """
import sys
import numpy as np, soundfile, soxr
from scipy import signal
def at_8khz(path):
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return soxr.resample(samples.mean(axis=1), rate_hz, 8000)
recording, track = map(at_8khz, sys.argv[1:])
across = signal.correlate(recording, track, "full", "fft")
print((int(np.abs(across).argmax()) - len(track) + 1) / 8000)
"""


def _measured(bench: Bench) -> tuple[list[Result], Run]:
    here = bench.folder
    track = here / "track.wav"
    bench.python("-m", "cuetrack", "render", PLAN, "-o", track)
    half, two = (
        Path(bench.python("-c", IN_A_ROOM, PLAN, here / f"room-{times}", str(times), ROOT).printed.strip())
        for times in (1, 4)
    )
    ours = (sys.executable, "-m", "cuetrack", "align", PLAN)
    results = bench.in_turns(
        [
            Contestant("cuetrack align", (*ours, half), RUNS),
            Contestant("plain correlation", (sys.executable, "-c", PLAINLY, half, track), RUNS),
        ]
    )
    return results, bench.run((*ours, two))


def _report(results: Sequence[Result], two_hours: Run, load: str) -> Iterator[str]:
    yield from heading("speed of alignment", LIBRARIES, load)
    yield f"{'half an hour in a room':24}{'runs':>5}{'wall':>9}{'':22}{'cpu':>8}{'peak':>9}"
    for one in results:
        least, most = min(one.seconds), max(one.seconds)
        yield (
            f"{one.contestant.name:24}{len(one.runs):5}{one.median_seconds:7.2f} s"
            f"{f'({least:.2f} to {most:.2f})':>22}{one.processor_text:>8}{one.peak_mb:6.0f} MB"
        )
    peak_mb = two_hours.peak_bytes / 1e6
    yield f"\ntwo hours, cuetrack align: {two_hours.seconds:.1f} s, {peak_mb:.0f} MB"
    ours = results[0].median_seconds
    yield "\ngoals"
    yield goal_line(ours < GOAL_SECONDS, f"half an hour in under {GOAL_SECONDS:.0f} s: {ours:.1f} s")
    yield goal_line(peak_mb <= GOAL_PEAK_MB, f"two hours in {GOAL_PEAK_MB:.0f} MB: {peak_mb:.0f} MB")


def main() -> None:
    """Runs the benchmark and prints its report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    chosen = parser.parse_args()
    load = load_now()
    with tempfile.TemporaryDirectory() as folder:
        results, two_hours = _measured(Bench(Path(folder)))
    print_report(_report(results, two_hours, load), REPORT if chosen.keep else None)


if __name__ == "__main__":
    main()
