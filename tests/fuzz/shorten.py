"""An input at fault → a shorter one with the same fault, by leaving out lines, then signs."""

from __future__ import annotations

import time
from collections.abc import Callable


def shortened(data: bytes, has_fault: Callable[[bytes], bool], seconds: float = 60) -> bytes:
    """The shortest input found within `seconds` by taking away halves, quarters and so on of what is left."""
    until = time.monotonic() + seconds
    for separator in (b"\n", b""):
        pieces = data.split(separator) if separator else [data[n : n + 1] for n in range(len(data))]
        size = len(pieces) // 2
        while size and time.monotonic() < until:
            at, changed = 0, False
            while at < len(pieces) and time.monotonic() < until:
                fewer = pieces[:at] + pieces[at + size :]
                if fewer and has_fault(separator.join(fewer)):
                    pieces, changed = fewer, True
                else:
                    at += size
            size = size if changed and size == 1 else size // 2
        data = separator.join(pieces)
    return data
