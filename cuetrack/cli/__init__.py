"""The command line: reads arguments, calls one function of `build`, prints, picks the exit code."""

from __future__ import annotations

import signal
import sys
from typing import NoReturn


def main() -> NoReturn:
    """The `cuetrack` command."""
    try:
        signal.signal(signal.SIGTERM, _stopped)
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a console without some letter prints the rest
        # Loading takes a moment, in which somebody may already have changed their mind.
        from cuetrack.cli.commands import run

        sys.exit(run())
    except KeyboardInterrupt:
        sys.exit(130)


def _stopped(*_: object) -> NoReturn:
    """A polite request to end is an interrupt: what is half written goes, what was there stays."""
    raise KeyboardInterrupt
