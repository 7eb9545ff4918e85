"""How loud each mix of the samples is told to be, and how loud it is as our meter and pyloudnorm read it.

Run it from the top of a checkout; other plans may be named:

    python -m tests.reports.loudness [--keep] [PLAN]...

Each mix is mastered to four targets, half of which need the limiter. `taken` is what the limiter takes from
the loudness, which the gain makes up for; `plain` is what a gain that does not would come to. The figures
told are foreseen: the test of `mix/mastering.py` holds them within 0.1 LU on a short plan.
With `--keep` the report is kept in loudness.txt.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pyloudnorm

from cuetrack import build
from cuetrack.mix.mastering import mastered, measured
from cuetrack.mix.programme import Programme
from cuetrack.sound.meter import LoudnessMeter
from cuetrack.timeline.mixes import MIX_NAMES
from tests.helpers.reporting import goal_line, heading, print_report

RATE_HZ = 48_000
TARGETS_LUFS = (-23.0, -16.0, -12.0, -9.0)
SAMPLES = Path(__file__).parents[2] / "samples"
REPORT = Path(__file__).with_suffix(".txt")
LIBRARIES = ("cuetrack", "numpy", "scipy", "soundfile", "pyloudnorm")
GOAL_LU = 0.1


def main() -> None:
    """Measures, and prints the report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("plans", nargs="*", type=Path, default=sorted(SAMPLES.glob("*.yaml")))
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    chosen = parser.parse_args()
    print_report(_report(chosen.plans), REPORT if chosen.keep else None)


def _report(plans: Sequence[Path]) -> Iterator[str]:
    """One line a mix and target."""
    yield from heading("loudness of the samples", LIBRARIES)
    yield f"{'':34}target    gain   taken   plain    told    ours  pyloudnorm"
    off_told: list[float] = []
    off_theirs: list[float] = []
    for plan in plans:
        known = build.compile_plan(plan, mixes=MIX_NAMES)
        arrangement, sounds = build.sounded(known, RATE_HZ)
        for one in build.balanced_mixes(known, arrangement, sounds, MIX_NAMES, 2):
            for target_lufs in TARGETS_LUFS if one.programme.stem_names() else ():
                figures, missed = _figures(one.programme, target_lufs)
                *_, told, ours, theirs = figures
                off_told.append(abs(told - ours))
                off_theirs.append(abs(ours - theirs))
                row = "".join(f"{value:8.2f}" for value in figures[:-1]) + f"{theirs:12.2f}"
                yield f"{plan.stem:26}{one.mix.name:8}{row}{'  missed, and told so' if missed else ''}"
    yield "\ngoals"
    for what, off in (
        ("what is told is what is written", off_told),
        ("ours and pyloudnorm's agree", off_theirs),
    ):
        yield goal_line(max(off) <= GOAL_LU, f"{what} within {GOAL_LU} LU: at most {max(off):.2f} LU off")


def _figures(programme: Programme, target_lufs: float) -> tuple[tuple[float, ...], bool]:
    """The columns of a line, and whether the target is missed."""
    loudness = measured(programme, target_lufs)
    plain_db = target_lufs - loudness.integrated_lufs
    taken_lu = loudness.integrated_lufs + loudness.gain_db - loudness.mastered_lufs
    plain_lufs, _ = _read_lufs(programme, plain_db)
    ours_lufs, theirs_lufs = _read_lufs(programme, loudness.gain_db)
    told = (target_lufs, loudness.gain_db, taken_lu, plain_lufs, loudness.mastered_lufs)
    return (*told, ours_lufs, theirs_lufs), loudness.misses_target


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
