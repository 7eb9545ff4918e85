"""What killed processes were writing is removed; what others are writing is not."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from cuetrack.writers.atomic import atomic_files, remove_left_over

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="there only the age of a file tells")


def hidden_name(folder: Path) -> str:
    """The name of a file that this process is writing."""
    with atomic_files(folder / "quay.wav") as (path,):
        return path.name


def left(folder: Path, name: str, *, hours_ago: int = 0) -> Path:
    path = folder / name
    path.write_text("half of the n")
    changed = time.time() - hours_ago * 3600
    os.utime(path, (changed, changed))
    return path


@posix_only
def test_of_a_process_that_has_ended(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    name = hidden_name(tmp_path).replace(f"-{os.getpid()}-", f"-{process.pid}-")
    below = tmp_path / "mp3"
    below.mkdir()
    one, other = left(tmp_path, name), left(below, name)
    assert remove_left_over(tmp_path, below=False) == 1
    assert (one.exists(), other.exists()) == (False, True)
    assert remove_left_over(tmp_path) == 1
    assert not other.exists()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux is asked for the state of a process")
def test_of_a_process_that_has_ended_and_is_not_buried_yet(tmp_path: Path) -> None:
    """Who took over the children of a killed one may have other things to do first."""
    with subprocess.Popen([sys.executable, "-c", ""], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.read()  # which ends with the process; nobody has asked for its result
        name = hidden_name(tmp_path).replace(f"-{os.getpid()}-", f"-{process.pid}-")
        path = left(tmp_path, name)
        while remove_left_over(tmp_path) == 0:  # its end comes a moment after that of its output
            time.sleep(0.01)
    assert not path.exists()


@pytest.mark.parametrize(("hours_ago", "removed"), [(0, 0), (23, 0), (25, 1)])
def test_of_a_process_that_lives_or_has_the_number_of_a_dead_one(
    tmp_path: Path, hours_ago: int, removed: int
) -> None:
    path = left(tmp_path, hidden_name(tmp_path), hours_ago=hours_ago)
    assert remove_left_over(tmp_path) == removed
    assert path.exists() != bool(removed)


@pytest.mark.parametrize(("hours_ago", "removed"), [(0, 0), (25, 1)])
def test_of_another_machine(tmp_path: Path, hours_ago: int, removed: int) -> None:
    name = f".quay.wav.{'0' * 8}-4194305-{'0' * 8}.part"
    left(tmp_path, name, hours_ago=hours_ago)
    assert remove_left_over(tmp_path) == removed


@pytest.mark.parametrize(
    "name", [".quay.part", "quay.wav", ".quay.wav.00000000-1.part", ".cuetrack-batch.lock"]
)
def test_of_somebody_else(tmp_path: Path, name: str) -> None:
    path = left(tmp_path, name, hours_ago=100)
    assert remove_left_over(tmp_path) == 0
    assert path.exists()
