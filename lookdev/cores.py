"""How many cores this process may use."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

MOST_WORKERS = 64
_QUOTA = "/sys/fs/cgroup/cpu.max"


@cache
def usable_cores() -> int:
    """Cores that this process may use, 1 to 64: those it may run on, or what a container leaves of them."""
    try:
        count = len(os.sched_getaffinity(0))
    except (AttributeError, OSError):  # not a system that says
        count = os.cpu_count() or 1
    try:
        quota, period = Path(_QUOTA).read_text().split()
        count = min(count, max(1, round(int(quota) / int(period))))
    except (OSError, ValueError, ZeroDivisionError):  # no such place, or "max": no limit
        pass
    return max(1, min(count, MOST_WORKERS))
