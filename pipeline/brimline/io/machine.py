"""What the machine has to spare, and what a run will need of it, foreseen from its cells alone."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Final, NamedTuple

MAX_CELLS: Final = 400_000_000  # beyond, indices of cells no longer fit everywhere
# measured: whole runs of 0.8, 4 and 16 million cells, in `tests/benchmarks/RUNS.md`. The memory is
# no less than was taken, with a full design; the time lies between bare ground and such a design
BASE_BYTES: Final = 450_000_000  # a run of a small site
NEAR_CELLS: Final = 800_000  # what lies near a site, on which lines and design are worked out
BYTES_A_NEAR_CELL: Final = 800
BYTES_A_CELL: Final = 55  # beyond these
BASE_S: Final = 80.0  # of one core, kernels compiled
SECONDS_A_CELL: Final = 4e-6
_ROOT: Final = Path("/")


class Needs(NamedTuple):
    """What a run will take at its peak, and how long one core is busy with it."""

    memory_bytes: int
    core_s: float


def needs(cells: float) -> Needs:
    """Foresee a whole first run of so many cells."""
    near = min(cells, NEAR_CELLS)
    memory = BASE_BYTES + BYTES_A_NEAR_CELL * near + BYTES_A_CELL * (cells - near)
    return Needs(int(memory), BASE_S + SECONDS_A_CELL * cells)


def most_cells(free: int | None = None) -> int:
    """Return how many cells the machine has memory for.

    Parameters
    ----------
    free : memory to be had [bytes]; None asks the machine.
    """
    free = free_bytes() if free is None else free
    if free is None:
        return MAX_CELLS
    left = free - BASE_BYTES
    near = min(NEAR_CELLS, max(1, left // BYTES_A_NEAR_CELL))
    return min(MAX_CELLS, near + max(0, left - BYTES_A_NEAR_CELL * NEAR_CELLS) // BYTES_A_CELL)


def free_bytes(root: Path = _ROOT) -> int | None:
    """Return the memory that this process may still take; None where the machine does not say.

    The least of what is available, of what the groups of processes that it belongs to have left,
    and of the limit of its own addresses.
    """
    limits = [_available(root), *_groups_left(root), _own_limit() if root == _ROOT else None]
    known = [limit for limit in limits if limit is not None]
    return max(0, min(known)) if known else None


def free_gb() -> float:
    """Return that memory [GB]; infinite where the machine does not say."""
    free = free_bytes()
    return math.inf if free is None else free / 1e9


def _available(root: Path) -> int | None:
    lines = _text(root / "proc/meminfo").splitlines()
    for line in lines:
        if line.startswith("MemAvailable:"):
            return int(line.split()[1]) * 1024
    if root == _ROOT and "SC_PHYS_PAGES" in getattr(os, "sysconf_names", {}):
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    return None


def _groups_left(root: Path) -> list[int | None]:
    """Return what each control group above this process has left, caches that can go included."""
    found: list[int | None] = []
    for line in _text(root / "proc/self/cgroup").splitlines():
        _, kinds, path = line.split(":", 2)
        if kinds and "memory" not in kinds.split(","):
            continue
        base = root / "sys/fs/cgroup" / ("memory" if kinds else "")
        names = (
            ("memory.limit_in_bytes", "memory.usage_in_bytes", "total_inactive_file")
            if kinds
            else ("memory.max", "memory.current", "inactive_file")
        )
        group = base / path.lstrip("/")
        while group.is_relative_to(base):
            found.append(_left(group, *names))
            group = group.parent
    return found


def _left(group: Path, limit: str, used: str, cache: str) -> int | None:
    most, now = (_text(group / name).strip() for name in (limit, used))
    if not (most.isdigit() and now.isdigit()):
        return None
    given_up = [
        int(line.split()[1])
        for line in _text(group / "memory.stat").splitlines()
        if line.split()[:1] == [cache]
    ]
    return int(most) - int(now) + sum(given_up)


def _own_limit() -> int | None:
    try:
        import resource
    except ImportError:  # not on Windows
        return None
    most = resource.getrlimit(resource.RLIMIT_AS)[0]
    if most == resource.RLIM_INFINITY:
        return None
    pages = _text(Path("/proc/self/statm")).split()[:1]
    return most - (int(pages[0]) * os.sysconf("SC_PAGE_SIZE") if pages else 0)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace")
    except OSError:
        return ""
