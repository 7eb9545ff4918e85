"""One batch at a time in a folder."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from cuetrack.batch.lock import folder_locked
from cuetrack.errors import WriteError

HOLDING = """
import sys, time
from pathlib import Path
from cuetrack.batch.lock import folder_locked
with folder_locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(600)
"""


def test_another_process_is_refused_until_the_first_is_gone_even_if_it_was_killed(tmp_path: Path) -> None:
    command = [sys.executable, "-c", HOLDING, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == "held\n"
        with pytest.raises(WriteError, match="another batch writes into it"), folder_locked(tmp_path):
            pass
        first.kill()
        first.wait()
    with folder_locked(tmp_path):
        pass


def test_a_folder_that_cannot_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(WriteError, match="nothing can be written into"), folder_locked(tmp_path / "file"):
        pass
