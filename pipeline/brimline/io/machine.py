"""What the machine has to spare."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Final

_LIMITS: Final = (
    Path("/sys/fs/cgroup/memory.max"),
    Path("/sys/fs/cgroup/memory/memory.limit_in_bytes"),
)


def free_gb() -> float:
    """Memory that processes can still have [GB]; infinite where the system does not say."""
    found = [math.inf]
    try:
        told = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        free = [line.split()[1] for line in told if line.startswith("MemAvailable:")]
        found += [int(kib) * 1024 / 1e9 for kib in free]
    except (OSError, ValueError):
        if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
            found.append(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 2e9)
    for path in _LIMITS:
        try:
            found.append(int(path.read_text(encoding="ascii")) / 1e9)
        except (OSError, ValueError):
            continue  # "max": without a limit
    return min(found)
