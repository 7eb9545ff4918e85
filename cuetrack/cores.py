"""How many of this machine's cores the program may use."""

from __future__ import annotations

import os
from math import ceil
from pathlib import Path

# How much computing time a container is given of each period, on Linux: "CPU Interface Files" in the kernel's
# documentation of cgroup v2, which has both numbers in one file, and "CFS Bandwidth Control" for version 1.
_TIME_AND_PERIOD = (
    ("/sys/fs/cgroup/cpu.max",),
    ("/sys/fs/cgroup/cpu/cpu.cfs_quota_us", "/sys/fs/cgroup/cpu/cpu.cfs_period_us"),
)


def usable_cores() -> int:
    """The cores that this process may run on, or fewer where its time comes to fewer; 1 or more."""
    # Only Linux tells which of the machine's cores a process may run on.
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    for files in _TIME_AND_PERIOD:
        try:
            time, period = (int(word) for file in files for word in Path(file).read_text("ascii").split())
        except (OSError, ValueError):  # there is no such file, or `max` stands in it: no limit
            continue
        if time > 0 < period:  # version 1 says -1 for no limit
            cores = min(cores, ceil(time / period))
    return max(1, cores)
