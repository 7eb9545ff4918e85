"""How loud each mix of the samples is told to be, and how loud it is as our meter and pyloudnorm read it.

Run it from the top of a checkout; other plans may be named:

    python -m tests.reports.loudness [PLAN]...

Each mix is mastered to four targets, half of which need the limiter. `taken` is what the limiter takes from
the loudness, which the gain makes up for; `plain` is what a gain that does not would come to. The figures
told are foreseen: the test of `mix/mastering.py` holds them within 0.1 LU on a short plan.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pyloudnorm

from cuetrack import build
from cuetrack.mix.mastering import mastered, measured
from cuetrack.mix.programme import Programme
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.timeline.mixes import MIX_NAMES

RATE_HZ = 48_000
TARGETS_LUFS = (-23.0, -16.0, -12.0, -9.0)
SAMPLES = Path(__file__).parents[2] / "samples"


def main() -> None:
    """Prints one line a mix and target."""
    plans = [Path(name) for name in sys.argv[1:]] or sorted(SAMPLES.glob("*.yaml"))
    print(f"{'':34}target    gain   taken   plain    told    ours  pyloudnorm")
    for plan in plans:
        known = build.compile_plan(plan, mixes=MIX_NAMES)
        arrangement, sounds = build.sounded(known, RATE_HZ)
        for one in build.balanced_mixes(known, arrangement, sounds, MIX_NAMES, 2):
            for target_lufs in TARGETS_LUFS if one.programme.stem_names() else ():
                print(f"{plan.stem:26}{one.mix.name:8}{_line(one.programme, target_lufs)}", flush=True)


def _line(programme: Programme, target_lufs: float) -> str:
    loudness = measured(programme, target_lufs)
    plain_db = target_lufs - loudness.integrated_lufs
    taken_lu = loudness.integrated_lufs + loudness.gain_db - loudness.mastered_lufs
    plain_lufs, _ = _read_lufs(programme, plain_db)
    ours_lufs, theirs_lufs = _read_lufs(programme, loudness.gain_db)
    missed = "  missed, and told so" if loudness.misses_target else ""
    figures = (target_lufs, loudness.gain_db, taken_lu, plain_lufs, loudness.mastered_lufs, ours_lufs)
    return "".join(f"{value:8.2f}" for value in figures) + f"{theirs_lufs:12.2f}{missed}"


def _read_lufs(programme: Programme, gain_db: float) -> tuple[float, float]:
    """By our meter and by pyloudnorm, of what is written."""
    samples = np.concatenate(list(mastered(programme, gain_db)))
    if samples.shape[1] == 1:
        samples = np.repeat(samples, 2, axis=1)
    meter = LoudnessMeter(RATE_HZ, [1.0, 1.0])
    meter.add(samples)
    return meter.integrated_lufs(), float(pyloudnorm.Meter(RATE_HZ).integrated_loudness(samples))


if __name__ == "__main__":
    main()
