"""Whole calls that must fail, each with its exact answer in a case file: `tests/cases/calls/NAME.txt`.

The first line is the call, then come the exit code and what is said on standard error. What the folder
holds is made by the function that is named after the case; a plan `quay.yaml` is always there.
`python -m tests.cli.test_call_cases` writes the answers anew; read the difference before you commit it.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

ROOT = Path(__file__).parents[2]
CASES = sorted((ROOT / "tests" / "cases" / "calls").glob("*.txt"))
PLAN = "session: Quay\nlead-in: 6s\nvoice: system\nparts: [{part: Main, steps: [{move: Row, work: 20s}]}]\n"
# A file may grow to this size here, as on a disk with so much room left.
FULL_AT_BYTES = 200_000


def plan_with(old: str, new: str) -> Callable[[Path], None]:
    def made(folder: Path) -> None:
        (folder / "quay.yaml").write_text(PLAN.replace(old, new), encoding="utf-8")

    return made


def linked(folder: Path) -> None:
    (folder / "track.wav").symlink_to("quay.yaml")


SETUPS: dict[str, Callable[[Path], object]] = {
    "missing-voice-in-the-plan": plan_with("system", "sistem"),
    "missing-model-of-a-voice": lambda folder: (folder / "quay.yaml").write_text(
        PLAN.replace("system", "./gone.onnx"), encoding="utf-8"
    ),
    "target-that-is-the-plan-itself": linked,
    "target-that-is-a-folder": lambda folder: (folder / "tracks.wav").mkdir(),
    "target-in-a-file": lambda folder: (folder / "tracks").write_text("", encoding="utf-8"),
    "plan-that-is-empty": lambda folder: (folder / "quay.yaml").write_bytes(b""),
    "plan-that-is-not-utf-8": lambda folder: (folder / "quay.yaml").write_bytes(
        PLAN.replace("Quay", "Kaimauer f\u00fcr alle").encode("latin-1")
    ),
    "plan-of-ten-megabytes": lambda folder: (folder / "quay.yaml").write_text(
        PLAN + "# and so on\n" * 900_000, encoding="utf-8"
    ),
}


def answer(case: str, call: str) -> str:
    """The call, its exit code and what it says, made in a folder of its own."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        plan_with("", "")(folder)
        SETUPS.get(case, lambda _: None)(folder)
        before = {path.name for path in folder.iterdir()}
        words = shlex.split(call.removeprefix("$ cuetrack "))
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "CUETRACK_CACHE_DIR": str(folder / ".cache")}
        done = subprocess.run(
            [sys.executable, "-m", "cuetrack", *words],
            cwd=folder,
            env=environment,
            capture_output=True,
            encoding="utf-8",
            check=False,
            preexec_fn=full_disk if case == "target-on-a-full-disk" else None,
        )
        assert {path.name for path in folder.iterdir()} - before <= {".cache"}
        assert done.stdout == ""
    return f"{call}\nexit {done.returncode}\n{done.stderr}"


def full_disk() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_FSIZE, (FULL_AT_BYTES, FULL_AT_BYTES))


def test_there_are_cases() -> None:
    assert len(CASES) >= 12
    assert set(SETUPS) <= {path.stem for path in CASES}


@pytest.mark.skipif(sys.platform == "win32", reason="links and limits are made the POSIX way")
@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_the_call_fails_as_written(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    call = text.splitlines()[0]
    assert call.startswith("$ cuetrack ")
    assert answer(path.stem, call) == text


if __name__ == "__main__":
    for path in CASES:
        path.write_text(answer(path.stem, path.read_text("utf-8").splitlines()[0]), encoding="utf-8")
