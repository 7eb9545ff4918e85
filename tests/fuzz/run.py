"""Runs made inputs through the readers for as long as asked, and reports what came of it.

    python -m tests.fuzz.run --minutes 20 --reader plan
    python -m tests.fuzz.run --minutes 60 --reader plan --reader csv --reader xlsx --keep

First come the inputs everything is made from and those that were at fault once; then, for half of the
time, inputs led by what they reach in the code (needs the extra `fuzz`; left out without it); then inputs
drawn by Hypothesis, which steers to slow ones. Each runs in a process whose memory and processor time are
measured. An input at fault is shortened and written to `--findings`, and the exit code is 1.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path

import hypothesis
from hypothesis import HealthCheck, Phase, given, settings, target
from hypothesis import strategies as st

from tests.fuzz import plan_texts
from tests.fuzz.judging import READERS
from tests.fuzz.report import REPORT, Counted, ReaderReport, kept, report_text
from tests.fuzz.seeds import MUTATIONS, seeds
from tests.fuzz.shorten import shortened
from tests.fuzz.worker import Worker

_ROOT = Path(__file__).parents[2]
_TEXTS = {"plan", "tidy", "house", "series"}
_BATCH = 100
# Watched execution is slow: with more to begin with, a short run would do nothing else.
_MOST_FIRST = 50
_GUIDED_FLAGS = (
    "-timeout=120",
    "-rss_limit_mb=2048",
    "-max_len=307200",
    "-len_control=0",
    "-use_value_profile=0",
)
_GUIDED_STATE = re.compile(r"#(\d+)\s+\w+\s+cov: (\d+) ft: (\d+) corp: (\d+)")


class _Judging:
    """All inputs of one run for one reader go through here."""

    def __init__(self, reader: str, findings: Path) -> None:
        self.report = ReaderReport(reader)
        self._findings = findings
        self._worker = Worker(reader)

    def take(self, data: bytes, engine: Counted) -> float:
        """Judges one input; the seconds of processor time of its slowest step."""
        judged = self._worker.judged(data)
        verdict = judged.verdict
        engine.count(verdict.outcome)
        self.report.see(data, judged, engine.name)
        if verdict.fault is not None and verdict.fault not in self.report.faults:
            self._keep(data, verdict.fault, verdict.details)
        return verdict.seconds

    def _keep(self, data: bytes, fault: str, details: str) -> None:
        """Shortens what has a fault that is new, and writes it down."""
        reader = self.report.reader
        if not fault.startswith(("slow", "memory", "no answer", "the process")):
            data = shortened(data, lambda fewer: self._worker.judged(fewer).verdict.fault == fault)
        number = len(self.report.faults) + 1
        path = self._findings / f"{reader}-{number:02d}.{reader if reader in {'csv', 'xlsx'} else 'yaml'}"
        path.write_bytes(data)
        path.with_suffix(".txt").write_text(
            f"{fault}\n\n{details}\n", encoding="utf-8", errors="backslashreplace"
        )
        self.report.faults[fault] = f"{len(data)} bytes"
        print(f"{reader}: {fault} ({path})", flush=True)

    def close(self) -> None:
        self._worker.close()


def run_reader(reader: str, seconds: float, findings: Path, first_seed: int) -> ReaderReport:
    """All engines on one reader, for so long in all."""
    judging = _Judging(reader, findings)
    until = time.monotonic() + seconds
    try:
        _known(judging)
        made: list[bytes] = []
        if find_spec("atheris"):
            made = _guided(judging, (until - time.monotonic()) / 2, first_seed)
        _drawn(judging, until, (*seeds(reader), *made), first_seed)
    finally:
        judging.close()
    return judging.report


def _known(judging: _Judging) -> None:
    """The inputs that all others are made from, and what was found before."""
    with judging.report.engine("known inputs") as engine:
        for data in dict.fromkeys(seeds(judging.report.reader)):
            judging.take(data, engine)


def _guided(judging: _Judging, seconds: float, seed: int) -> list[bytes]:
    """The inputs that reached something new, each judged again in a process that is not watched."""
    reader = judging.report.reader
    folder = Path(tempfile.mkdtemp(prefix="fuzz-guided-"))
    try:
        for name in ("corpus", "suspects"):
            (folder / name).mkdir()
        originals = list(dict.fromkeys(seeds(reader)))
        for number, data in enumerate(originals[:: len(originals) // _MOST_FIRST + 1]):
            (folder / "corpus" / f"seed-{number}").write_bytes(data)
        with judging.report.engine("led by coverage (atheris)") as engine:
            for done, state in _guided_rounds(reader, folder, seconds, seed):
                engine.executions += done
                engine.remark = state
        made = [
            path.read_bytes() for path in sorted((folder / "corpus").iterdir()) if path.name[:4] != "seed"
        ]
        with judging.report.engine("those of them that reached something new") as engine:
            for path in sorted((folder / "suspects").iterdir()):
                judging.take(path.read_bytes(), engine)
            for data in made:
                judging.take(data, engine)
        return made
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _guided_rounds(reader: str, folder: Path, seconds: float, seed: int) -> Iterator[tuple[int, str]]:
    """Executions and coverage of each process; another one follows where an input ended it too early."""
    until = time.monotonic() + seconds
    while (left := int(until - time.monotonic())) > 5:
        flags = (
            *_GUIDED_FLAGS,
            f"-max_total_time={left}",
            f"-seed={seed}",
            f"-artifact_prefix={folder}/suspects/",
        )
        command = [sys.executable, "-m", "tests.fuzz.guided", reader, str(folder), *flags]
        ended = subprocess.run(command, cwd=_ROOT, capture_output=True, check=False)
        said = _GUIDED_STATE.findall(ended.stderr.decode(errors="replace"))
        if not said:
            raise SystemExit(f"atheris could not begin:\n{ended.stderr.decode(errors='replace')[-2000:]}")
        executions, branches, features, corpus = said[-1]
        yield int(executions), f"{branches} edges and {features} features reached by {corpus} inputs"
        seed += 1


def _drawn(judging: _Judging, until: float, originals: tuple[bytes, ...], first_seed: int) -> None:
    """Inputs drawn by Hypothesis: originals with changes, and words of the language in any order."""
    reader = judging.report.reader
    changed = st.builds(
        lambda original, random: MUTATIONS[reader](original, random, originals),
        st.sampled_from(originals),
        st.randoms(use_true_random=False),
    )
    words = st.lists(st.sampled_from(plan_texts.SOUP_WORDS), max_size=40).map(plan_texts.soup)
    inputs = changed | changed | changed | words if reader in _TEXTS else changed
    with judging.report.engine("drawn (hypothesis)") as engine:

        def take(data: bytes) -> None:
            if time.monotonic() < until:
                target(judging.take(data, engine), label="seconds")

        for seed in _seeds_until(until, first_seed):
            _batch(take, inputs, seed)


def _seeds_until(until: float, first: int) -> Iterator[int]:
    while time.monotonic() < until:
        yield first
        first += 1


def _batch(take: Callable[[bytes], None], inputs: st.SearchStrategy[bytes], seed: int) -> None:
    unhurried = settings(
        max_examples=_BATCH,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.target],
        suppress_health_check=list(HealthCheck),
    )
    hypothesis.seed(seed)(unhurried(given(inputs)(take)))()


def main() -> int:
    description, _, more = (__doc__ or "").partition("\n\n")
    parser = argparse.ArgumentParser(
        prog="python -m tests.fuzz.run",
        description=description,
        epilog=more,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--reader", action="append", choices=[*READERS, "all"], help="which; may be repeated; all"
    )
    parser.add_argument(
        "--minutes", type=float, default=20, help="how long in all, shared by the readers; 20"
    )
    parser.add_argument("--seed", type=int, default=1, help="other inputs for another number; 1")
    parser.add_argument(
        "--findings", type=Path, help="the folder for inputs at fault; a new one if not given"
    )
    parser.add_argument(
        "--keep", action="store_true", help=f"write the report to {REPORT.relative_to(_ROOT)}"
    )
    arguments = parser.parse_args()
    chosen = arguments.reader or ["all"]
    readers = list(READERS) if "all" in chosen else list(dict.fromkeys(chosen))
    findings = arguments.findings or Path(tempfile.mkdtemp(prefix="fuzz-findings-"))
    findings.mkdir(parents=True, exist_ok=True)
    if hasattr(os, "nice"):
        os.nice(10)
    reports = [
        run_reader(r, arguments.minutes * 60 / len(readers), findings, arguments.seed) for r in readers
    ]
    for report in reports:
        print(report_text(report))
    if arguments.keep:
        REPORT.write_text(kept(REPORT, reports), encoding="utf-8")
    return 1 if any(report.faults for report in reports) else 0


if __name__ == "__main__":
    sys.exit(main())
