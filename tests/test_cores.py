"""How many cores are used: what the machine has, or as much as a container is given of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from cuetrack import cores
from cuetrack.cores import usable_cores


@pytest.fixture
def given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for the files that tell what a container is given, on a machine of eight cores."""
    files = tuple(
        tuple(str(tmp_path / Path(file).name) for file in version) for version in cores._TIME_AND_PERIOD
    )
    monkeypatch.setattr(cores, "_TIME_AND_PERIOD", files)
    monkeypatch.setattr(os, "sched_getaffinity", lambda process: set(range(8)), raising=False)
    return tmp_path


def test_there_is_a_core_to_use() -> None:
    assert 1 <= usable_cores() <= (os.cpu_count() or 1)


@pytest.mark.parametrize(
    ("cpu_max", "cores_used"),
    [
        ("max 100000", 8),
        ("200000 100000", 2),
        ("250000 100000", 3),
        ("50000 100000", 1),
        ("1600000 100000", 8),
        ("", 8),
        ("quay", 8),
        ("200000", 8),
    ],
)
def test_a_container_has_the_cores_that_its_time_comes_to(given: Path, cpu_max: str, cores_used: int) -> None:
    (given / "cpu.max").write_text(f"{cpu_max}\n", encoding="ascii")
    assert usable_cores() == cores_used


@pytest.mark.parametrize(("quota", "cores_used"), [("-1", 8), ("150000", 2)])
def test_an_older_system_says_so_in_two_files(given: Path, quota: str, cores_used: int) -> None:
    (given / "cpu.cfs_quota_us").write_text(f"{quota}\n", encoding="ascii")
    (given / "cpu.cfs_period_us").write_text("100000\n", encoding="ascii")
    assert usable_cores() == cores_used


def test_where_nothing_tells_it_is_what_the_machine_has(given: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert usable_cores() == 8
    monkeypatch.delattr(os, "sched_getaffinity")
    monkeypatch.setattr(os, "cpu_count", lambda: None)
    assert usable_cores() == 1
