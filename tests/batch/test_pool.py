"""A process that dies takes the answer of no other item with it."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cuetrack.batch.pool import answers
from tests.helpers.deaths import Deadly, doubled, noted_and_slept

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")


def died(item: Deadly) -> int:
    return -item.number


def all_answers(items: list[Deadly], processes: int = 2) -> list[int]:
    return sorted(answers(doubled, items, processes=processes, cluster=None, died=died))


@pytest.mark.parametrize("processes", [1, 2])
def test_every_item_is_answered_once(processes: int) -> None:
    assert all_answers([Deadly(number) for number in range(5)], processes) == [0, 2, 4, 6, 8]


@posix_only
def test_of_an_item_that_kills_its_process_every_time_only_that_one_fails() -> None:
    items = [Deadly(number, kills=number == 3) for number in range(1, 7)]
    assert all_answers(items) == [-3, 2, 4, 8, 10, 12]


@posix_only
def test_several_of_them() -> None:
    items = [Deadly(number, kills=number in (1, 6)) for number in range(1, 7)]
    assert all_answers(items) == [-6, -1, 4, 6, 8, 10]


@posix_only
def test_an_item_whose_process_was_killed_once_is_tried_again(tmp_path: Path) -> None:
    items = [Deadly(1), Deadly(2, kills=True, noted=tmp_path / "killed"), Deadly(3)]
    assert all_answers(items) == [2, 4, 6]
    assert (tmp_path / "killed").exists()


def sleeping_batch(folder: Path) -> None:
    for _ in answers(noted_and_slept, [folder] * 2, processes=2, cluster=None, died=lambda item: None):
        pass


@pytest.mark.skipif(sys.platform != "linux", reason="processes are looked up in /proc")
def test_processes_end_with_the_one_that_started_them(tmp_path: Path) -> None:
    """Else they would render on beside the next batch, and then wait for five minutes."""
    starter = multiprocessing.get_context("spawn").Process(target=sleeping_batch, args=(tmp_path,))
    starter.start()
    waited_for(lambda: len(list(tmp_path.iterdir())) == 2)
    assert starter.pid is not None
    os.kill(starter.pid, signal.SIGKILL)
    starter.join()
    waited_for(lambda: not any(lives(int(entry.name)) for entry in tmp_path.iterdir()))


def waited_for(state: Callable[[], bool], seconds: float = 120) -> None:
    until = time.monotonic() + seconds
    while not state():
        assert time.monotonic() < until
        time.sleep(0.05)


def lives(process: int) -> bool:
    """Whether there is such a process, and not only its entry (`man 5 proc_pid_stat`, state)."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False
