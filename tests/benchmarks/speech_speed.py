"""How long it takes to speak a plan's phrases: `python tests/benchmarks/speech_speed.py [PLAN ...]`.

Each plan is measured (`cuetrack check --voice`, whole processes) with an empty cache and again with the
full one. Goal for a session of 30 minutes: under 15 s cold on two cores with the natural voice, and
nothing spoken when warm.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[2]
GOAL_SECONDS = 15.0


def measured(plan: Path, folder: str) -> tuple[float, int]:
    """Seconds of one check with the voice, and the clips that are kept after it."""
    environment = {**os.environ, "CUETRACK_CACHE_DIR": folder, "PYTHONPATH": str(ROOT)}
    call = [sys.executable, "-m", "cuetrack", "check", str(plan), "--voice"]
    began = time.perf_counter()
    subprocess.run(call, env=environment, check=True, capture_output=True)
    return time.perf_counter() - began, sum(path.is_file() for path in Path(folder).rglob("*"))


def main() -> None:
    """Prints a table, one row a plan."""
    plans = [Path(name) for name in sys.argv[1:]] or sorted((ROOT / "samples").glob("*.yaml"))
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    print(f"{datetime.now(UTC):%Y-%m-%d}, {machine}")
    print(f"{'plan':<28}{'cold s':>8}{'warm s':>8}{'clips':>7}{'spoken again':>14}  goal")
    for plan in plans:
        with TemporaryDirectory() as folder:
            cold_seconds, clips = measured(plan, folder)
            warm_seconds, clips_after = measured(plan, folder)
        verdict = "met" if cold_seconds < GOAL_SECONDS and clips_after == clips else "MISSED"
        row = f"{plan.stem:<28}{cold_seconds:>8.1f}{warm_seconds:>8.1f}{clips:>7}{clips_after - clips:>14}"
        print(f"{row}  {verdict}")


if __name__ == "__main__":
    main()
