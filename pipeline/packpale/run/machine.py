"""Cores and memory that this process may use: what the machine has, or less where a container allows less."""

import os
from contextlib import suppress
from math import ceil
from pathlib import Path

CGROUP = Path("/sys/fs/cgroup")
"""Where Linux tells the limits of the container that a process runs in (control groups, version 2)."""


def cores(cgroup: Path = CGROUP) -> int:
    """Processor cores for this process, at least 1."""
    here = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    with suppress(OSError, ValueError):
        # Microseconds of processor time in each period, or "max".
        quota, period = (cgroup / "cpu.max").read_text(encoding="ascii").split()
        if quota != "max":
            return max(1, min(here, ceil(int(quota) / int(period))))
    return here


def free_memory(cgroup: Path = CGROUP) -> int:
    """Memory that can still be taken. [bytes]"""
    import psutil

    free = int(psutil.virtual_memory().available)
    with suppress(OSError, ValueError):
        # "max" is no number.
        limit = int((cgroup / "memory.max").read_text(encoding="ascii"))
        used = int((cgroup / "memory.current").read_text(encoding="ascii"))
        return max(0, min(free, limit - used))
    return free
