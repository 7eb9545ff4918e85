"""How long it takes to speak a plan's phrases, with an empty and with a full cache.

    python -m tests.benchmarks.speech_speed [--keep] [PLAN ...]

Each plan is measured (`cuetrack check --voice`, whole processes) with an empty cache and again with the
full one; the samples if none is named. With `--keep` the report is kept in speech_speed.txt.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.helpers.reporting import goal_line, heading, load_now, print_report

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).with_suffix(".txt")
LIBRARIES = ("cuetrack", "numpy", "piper-tts", "onnxruntime")
# For a session of 30 minutes on two cores with the natural voice.
GOAL_SECONDS = 15.0


def measured(plan: Path, folder: str) -> tuple[float, int]:
    """Seconds of one check with the voice, and the clips that are kept after it."""
    environment = {**os.environ, "CUETRACK_CACHE_DIR": folder, "PYTHONPATH": str(ROOT)}
    call = [sys.executable, "-m", "cuetrack", "check", str(plan), "--voice"]
    began = time.perf_counter()
    subprocess.run(call, env=environment, check=True, capture_output=True)
    return time.perf_counter() - began, sum(path.is_file() for path in Path(folder).rglob("*"))


def _report(plans: Sequence[Path]) -> Iterator[str]:
    """A row a plan."""
    yield from heading("speed of speech", LIBRARIES, load_now())
    yield f"{'plan':<28}{'cold s':>8}{'warm s':>8}{'clips':>7}{'spoken again':>14}"
    slowest_seconds, again = 0.0, 0
    for plan in plans:
        with TemporaryDirectory() as folder:
            cold_seconds, clips = measured(plan, folder)
            warm_seconds, clips_after = measured(plan, folder)
        yield f"{plan.stem:<28}{cold_seconds:>8.1f}{warm_seconds:>8.1f}{clips:>7}{clips_after - clips:>14}"
        slowest_seconds, again = max(slowest_seconds, cold_seconds), again + clips_after - clips
    yield "\ngoals"
    limit = f"under {GOAL_SECONDS:g} s with an empty cache"
    yield goal_line(slowest_seconds < GOAL_SECONDS, f"{limit}: at most {slowest_seconds:.1f} s")
    yield goal_line(again == 0, f"nothing spoken again with a full one: {again}")


def main() -> None:
    """Runs the benchmark and prints its report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("plans", nargs="*", type=Path, default=sorted((ROOT / "samples").glob("*.yaml")))
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    chosen = parser.parse_args()
    print_report(_report(chosen.plans), REPORT if chosen.keep else None)


if __name__ == "__main__":
    main()
