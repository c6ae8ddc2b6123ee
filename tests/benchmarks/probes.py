"""What is measured in a process of its own: memory, growth with size, and compiling."""

import json
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
# glibc leaves freed memory in the process, so that turns do not time how pages are cleared
KEPT_MEMORY = {"MALLOC_MMAP_MAX_": "0", "MALLOC_TRIM_THRESHOLD_": str(2**62)}


def in_own_process(probe, *arguments, **environment):
    """Run one probe below in a fresh interpreter and return what it printed."""
    plain = {name: value for name, value in os.environ.items() if name not in KEPT_MEMORY}
    done = subprocess.run(
        [sys.executable, str(HERE / "probes.py"), probe, *map(str, arguments)],
        env={**plain, **environment},
        check=True,
        capture_output=True,
        text=True,
    )
    return json.loads(done.stdout.splitlines()[-1])


def growth(side):
    """Shortest wall and processor time of the chain, and its peak of memory.

    `bytes_per_cell` is what the chain adds to a process that holds the input.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "dem.npy"
        in_own_process("save_terrain", side, path)
        peak = in_own_process("peak", path)
        pace = in_own_process("pace", path, **KEPT_MEMORY)
    return peak | pace


def compiling():
    """Seconds to compile every kernel of the water core into an empty cache, and to load them."""
    with tempfile.TemporaryDirectory() as folder:
        cold = in_own_process("every_kernel", BRIMLINE_KERNEL_CACHE=folder)
        warm = min(
            (in_own_process("every_kernel", BRIMLINE_KERNEL_CACHE=folder) for _ in range(3)),
            key=lambda times: times["wall_s"],
        )
    return cold, warm


def _save_terrain(side, path):
    import numpy as np
    from ground import terrain

    np.save(path, terrain(int(side)))
    return True


def _ready(path):
    """Return the ground, some intakes, and the chain with its compiled code loaded."""
    import numpy as np
    from contestants import chain

    dem = np.load(path)
    intakes = np.stack([np.arange(20) * 10 + 50, np.full(20, 150)], axis=1)
    chain(np.ascontiguousarray(dem[:300, :300]), intakes)
    return dem, intakes, chain


def _peak(path):
    dem, intakes, chain = _ready(path)
    held = _peak_bytes()
    chain(dem, intakes)
    return {"bytes_per_cell": (_peak_bytes() - held) / dem.size}


def _pace(path):
    dem, intakes, chain = _ready(path)
    runs = []
    for _ in range(4 if dem.size > 10_000_000 else 12):
        began, began_cpu = time.perf_counter(), time.process_time()
        chain(dem, intakes)
        runs.append((time.perf_counter() - began, time.process_time() - began_cpu))
    wall, cpu = (min(column) for column in zip(*runs, strict=True))
    return {"wall_s": wall, "cpu_s": cpu}


def _peak_bytes():
    status = Path("/proc/self/status")
    if status.exists():  # getrusage would start from the peak of the process that started this
        found = re.search(r"^VmHWM:\s+(\d+) kB", status.read_text(encoding="ascii"), re.MULTILINE)
        return int(found[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _every_kernel():
    import numpy as np

    import brimline._jit  # noqa: F401 numba itself is loaded before the clock starts

    began, began_cpu = time.perf_counter(), time.process_time()
    from contestants import chain

    from brimline.drainage.flow import (
        dinf_accumulation,
        flow_directions,
        mfd_accumulation,
        upstream_order,
    )
    from brimline.terrain.conditioning import condition, fill

    dem = np.random.default_rng(0).normal(size=(150, 150)).astype(np.float32)
    dem[30:60, :50] = np.nan
    condition(dem, cell_m=1.0)
    chain(dem, np.array([[100, 100]]))
    upstream_order(flow_directions(fill(dem)))
    dinf_accumulation(dem)
    mfd_accumulation(dem)
    return {"wall_s": time.perf_counter() - began, "cpu_s": time.process_time() - began_cpu}


if __name__ == "__main__":
    probes = {
        "save_terrain": _save_terrain,
        "peak": _peak,
        "pace": _pace,
        "every_kernel": _every_kernel,
    }
    print(json.dumps(probes[sys.argv[1]](*sys.argv[2:])))
