"""Answers from many processes; the workers of a cluster are in test_cluster.py."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cuetrack.batch.pool import answers
from tests.helpers.deaths import Deadly, noted_and_slept
from tests.helpers.deaths import doubled as doubled_or_dead

posix_only = pytest.mark.skipif(os.name == "nt", reason="processes are killed by signals")
dying = pytest.mark.filterwarnings("ignore:A worker stopped")  # joblib's own word for it


def doubled(number: int) -> int:
    return 2 * number


def deadly(number: int) -> int:
    if number == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


@pytest.mark.parametrize("processes", [1, 2])
def test_every_item_is_answered_once(processes: int) -> None:
    found = answers(doubled, list(range(20)), processes=processes, cluster=None, died=lambda item: -1)
    assert sorted(found) == [2 * number for number in range(20)]


def test_nothing_to_do_is_nothing(tmp_path: object) -> None:
    assert list(answers(doubled, [], processes=2, cluster=None, died=lambda item: -1)) == []


@posix_only
@dying
def test_one_that_kills_its_process_takes_no_other_answer_with_it() -> None:
    found = answers(deadly, list(range(8)), processes=2, cluster=None, died=lambda item: -item)
    assert sorted(found) == [-3, 0, 1, 2, 4, 5, 6, 7]


@posix_only
@dying
@pytest.mark.parametrize("deaths", [{2}, {1, 6}])
def test_those_that_kill_their_process_every_time_fail_alone(deaths: set[int]) -> None:
    items = [Deadly(number, kills=number in deaths) for number in range(1, 7)]
    found = answers(doubled_or_dead, items, processes=2, cluster=None, died=lambda item: -item.number)
    assert sorted(found) == sorted(-number if number in deaths else 2 * number for number in range(1, 7))


@posix_only
@dying
def test_one_whose_process_was_killed_once_is_tried_again(tmp_path: Path) -> None:
    items = [Deadly(1), Deadly(2, kills=True, noted=tmp_path / "killed"), Deadly(3)]
    found = answers(doubled_or_dead, items, processes=2, cluster=None, died=lambda item: -item.number)
    assert sorted(found) == [2, 4, 6]
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


def interrupts_reach(_: int) -> bool:
    return signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, [])


_FIRST_POOL = """
from cuetrack.batch.pool import answers
from tests.batch.test_pool import interrupts_reach
print(*answers(interrupts_reach, range(4), processes=2, cluster=None, died=lambda item: None))
"""


@posix_only
def test_interrupts_reach_no_process() -> None:
    """Each would tell of its own with a traceback. Asked in a program that has started no other yet."""
    asked = [sys.executable, "-c", _FIRST_POOL]
    found = subprocess.run(asked, capture_output=True, check=True, timeout=120).stdout.split()
    assert found == [b"False"] * 4


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
