"""A command that takes interrupts; a shell's background jobs pass them over, and hand that on."""

from __future__ import annotations

import sys
from collections.abc import Sequence

_TAKING = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
os.execv(sys.argv[1], sys.argv[1:])
"""


def interruptible(command: Sequence[str]) -> list[str]:
    """The command, whose first word is the path of a program, so that an interrupt reaches it (POSIX)."""
    return [sys.executable, "-c", _TAKING, *command]
