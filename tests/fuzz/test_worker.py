"""A process that judges inputs is measured by its own memory alone."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.judging import LIMIT_BYTES

_ROOT = Path(__file__).parents[2]
_SWOLLEN = """
from tests.fuzz.judging import LIMIT_BYTES
from tests.fuzz.worker import Worker

held = b"x" * (LIMIT_BYTES + 2**20)
with Worker("plan") as worker:
    answer = worker.judged(b"session: Quay")
print(answer.verdict.fault, answer.peak_bytes)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="memory is not measured there")
def test_what_its_parent_holds_is_not_counted() -> None:
    done = subprocess.run([sys.executable, "-c", _SWOLLEN], cwd=_ROOT, capture_output=True, check=True)
    fault, peak_bytes = done.stdout.decode().split()
    assert fault == "None"
    assert 10_000_000 < int(peak_bytes) < LIMIT_BYTES
