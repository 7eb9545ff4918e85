"""What is called in the processes of a pool by name: some of it kills its own process."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Deadly:
    """A number; whoever works on one with `kills` dies of it, always or only the first time."""

    number: int
    kills: bool = False
    noted: Path | None = None


def doubled(item: Deadly) -> int:
    """Twice the number; its process is killed if the item is one of those."""
    if item.kills:
        first = item.noted is None or not item.noted.exists()
        if item.noted is not None:
            item.noted.touch()
        if first:
            os.kill(os.getpid(), signal.SIGKILL)
    return 2 * item.number


def noted_and_slept(folder: Path) -> None:
    """Leaves the number of its process in a folder, and then never ends by itself."""
    (folder / str(os.getpid())).touch()
    time.sleep(600)
