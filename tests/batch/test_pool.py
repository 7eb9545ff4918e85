"""Answers from many processes; the workers of a cluster are in test_cluster.py."""

from __future__ import annotations

import os
import signal

import pytest

from cuetrack.batch.pool import answers, usable_processes


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


@pytest.mark.skipif(os.name == "nt", reason="processes are killed by signals")
@pytest.mark.filterwarnings("ignore:A worker stopped")  # joblib's own word for it
def test_one_that_kills_its_process_takes_no_other_answer_with_it() -> None:
    found = answers(deadly, list(range(8)), processes=2, cluster=None, died=lambda item: -item)
    assert sorted(found) == [-3, 0, 1, 2, 4, 5, 6, 7]


def test_there_is_a_core_to_use() -> None:
    assert usable_processes() >= 1
