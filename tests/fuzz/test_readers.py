"""What every reader is made for, what was at fault once, and some made inputs: each read, or refused by us.

The long runs are `python -m tests.fuzz.run`; here no time is judged.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from tests.fuzz.judging import READERS, judged
from tests.fuzz.seeds import FOUND, MUTATIONS, seeds

_MADE = 12


def _fault(reader: str, data: bytes, folder: Path) -> str | None:
    folder.mkdir()
    verdict = judged(reader, data, folder)
    slow = verdict.fault is not None and verdict.fault.startswith("slow:")
    return None if slow or verdict.fault is None else f"{verdict.fault}\n{verdict.details}"


def test_what_was_found_is_kept() -> None:
    assert list(FOUND.iterdir())


@pytest.mark.parametrize("reader", READERS)
def test_known_inputs_are_taken_without_a_fault(reader: str, tmp_path: Path) -> None:
    known = seeds(reader)
    assert known
    faults = [_fault(reader, data, tmp_path / str(number)) for number, data in enumerate(known)]
    assert [fault for fault in faults if fault is not None] == []


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("reader", READERS)
def test_made_inputs_are_taken_without_a_fault(reader: str, seed: int, tmp_path: Path) -> None:
    random, known = Random(f"{reader} {seed}"), seeds(reader)
    for number in range(_MADE):
        data = random.choice(known)
        for _ in range(random.randint(1, 4)):
            data = MUTATIONS[reader](data, random, known)
        assert _fault(reader, data, tmp_path / str(number)) is None
