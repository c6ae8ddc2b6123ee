"""Time the water core against the libraries that do the same job, and write the table.

Everything runs on the same arrays in one process; contestants take turns, and the shortest of
several turns counts. Only ratios are written: they carry over to other machines better than
seconds do. `python tests/benchmarks/run.py --help` lists the options.
"""

import argparse
import os
import sys
import time
from contextlib import contextmanager
from importlib import metadata
from pathlib import Path

import numba
from contestants import OURS, contestants
from ground import nested_intakes, terrain
from probes import KEPT_MEMORY, compiling, growth
from threadpoolctl import threadpool_limits

from brimline._jit import threads

RESULTS = Path(__file__).parent / "RESULTS.md"
STEPS = (
    "fill",
    "directions",
    "fill and directions",
    "accumulation",
    "catchments",
    "breach",
    "D-infinity",
    "multiple directions",
)
# ways through the chain with the libraries' own steps; a conversion between forms costs nothing
CHAINS = {
    "topotoolbox": (
        ("fill and directions", "topotoolbox"),
        ("accumulation, order ready", "topotoolbox"),
        ("catchments, order ready", "topotoolbox"),
    ),
    "pyflwdir": (
        ("fill and directions", "pyflwdir"),
        ("accumulation", "pyflwdir"),
        ("catchments, order ready", "pyflwdir"),
    ),
    "richdem, then pyflwdir": (
        ("fill and directions", "richdem"),
        ("accumulation", "pyflwdir"),
        ("catchments, order ready", "pyflwdir"),
    ),
    "richdem": (
        ("fill and directions", "richdem"),
        ("accumulation", "richdem"),
        ("catchments, order ready", "pyflwdir"),
    ),
    "fastscapelib, then pyflwdir": (
        ("fill and directions", "fastscapelib"),
        ("accumulation, order ready", "fastscapelib"),
        ("catchments, order ready", "pyflwdir"),
    ),
    "fastest fill, then pysheds": (
        ("fill", None),
        ("directions", "pysheds"),
        ("accumulation", None),
        ("catchments, order ready", None),
    ),
    "fastest fill, then richdem": (
        ("fill", None),
        ("directions", "richdem"),
        ("accumulation", None),
        ("catchments, order ready", None),
    ),
}
PAGE = """\
# The water core against its peers

Written by `make bench` (`tests/benchmarks/run.py`); not edited by hand.

## Method

All on the same arrays in one run on {cores} cores. Contestants take turns, and the shortest wall
time of {rounds} turns counts, after one that does not (compiling, caches). Ground: `ground.py`,
spectral, seeded, float32, a sixth of it in hollows. Inputs are in each library's own form before
the clock starts. The threads of brimline, numba and OpenMP are limited alike. Freed memory stays
in the process, so that turns do not time how the operating system clears pages. A library more
than {too_slow} times slower than the fastest peer at the smallest size, and slow enough to matter,
sits out the larger ones.

Ways through the chain add up each step's shortest time. Turning one library's form into another's
is counted as free, and a step that uses an order made in an earlier step is taken at that price:
both favour the peers. Other loads on the machine lengthen turns; ratios between runs differ by
about a tenth.

Versions: {versions}.{missing}

## The chain: fill, directions, accumulation, 20 nested catchments

Each way with peers alone as a multiple of brimline's time, and brimline's time as a share of the
fastest way.

| cells | threads | peers (brimline = 1) | brimline / fastest | at most |
| --- | --- | --- | --- | --- |
{chains}

## Single steps

| step | cells | threads | peers (brimline = 1) | brimline / fastest |
| --- | --- | --- | --- | --- |
{steps}

Directions are complete: every cell reaches an outlet. Accumulation and catchments start from the
directions alone. topotoolbox, fastscapelib and pyflwdir can go on along an order that an earlier
step made; brimline makes none, so that way is compared as part of the chain. Steps that do less
than brimline's, as multiples of its time for the whole step:

{ready}

{notes}

## Growth, memory, compiling

{probed}
"""
TOO_SLOW, LONG_S = 6.0, 1.0  # so much behind the fastest peer, a contestant sits out large grids


@contextmanager
def limited(count):
    """Let our kernels, numba's and OpenMP's threads be so many; progress bars are not shown."""
    before = numba.get_num_threads()
    numba.set_num_threads(min(count, before))
    shown, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)  # compiled libraries write past sys.stderr
    try:
        with threads(count), threadpool_limits(count):
            yield
    finally:
        os.dup2(shown, 2)
        os.close(shown)
        os.close(nowhere)
        numba.set_num_threads(before)


def turns(entries, count, rounds):
    """Shortest wall time [s] of each contestant; the first turn of each is not counted."""
    best = {}
    with limited(count):
        for turn in range(rounds + 1):
            for entry in entries:
                began = time.perf_counter()
                entry.call()
                took = time.perf_counter() - began
                if turn:
                    key = entry.step, entry.library
                    best[key] = min(took, best.get(key, took))
    return best


def peers_of(best, step):
    """Times of the other libraries at a step, fastest first."""
    times = {library: took for (at, library), took in best.items() if at == step}
    times.pop(OURS, None)
    return dict(sorted(times.items(), key=lambda item: item[1]))


def chains(best):
    """Time of each way through the chain with peers alone, fastest first."""
    sums = {}
    for name, steps in CHAINS.items():
        total = 0.0
        for step, library in steps:
            times = peers_of(best, step)
            took = times.get(library) if library else min(times.values(), default=None)
            if took is None:
                break
            total += took
        else:
            sums[name] = total
    return dict(sorted(sums.items(), key=lambda item: item[1]))


def slow_ones(entries, best):
    """Contestants that would take long at larger sizes without being the one to beat."""
    slow = set()
    for entry in entries:
        key = entry.step, entry.library
        fastest = min(peers_of(best, entry.step).values(), default=best[key])
        if entry.library != OURS and best[key] > max(TOO_SLOW * fastest, LONG_S):
            slow.add(key)
    return slow


def keep_freed_memory():
    """Start again with freed memory left in the process, for every contestant alike.

    Large arrays are otherwise handed back to the operating system and cleared anew at each turn,
    which takes as long as some steps and varies with what else the machine does.
    """
    if not KEPT_MEMORY.keys() <= os.environ.keys():
        os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, **KEPT_MEMORY})


def step_rows(results):
    """One row a step and size: brimline 1, every other library as a multiple."""
    for step in STEPS:
        for (side, count), best in results.items():
            ours = best.get((step, OURS))
            peers = peers_of(best, step)
            if ours is None or not peers:
                continue
            shown = ", ".join(f"{name} {took / ours:.1f}" for name, took in peers.items())
            ratio = ours / min(peers.values())
            mark = "" if ratio <= 1 else " **missed**"
            yield f"| {step} | {side}² | {count} | {shown} | {ratio:.2f}{mark} |"


def chain_rows(results):
    targets = {1: 0.5, 2: 0.25}
    for (side, count), best in results.items():
        ours = best["chain", OURS]
        ways = chains(best)
        shown = ", ".join(f"{name} {took / ours:.1f}" for name, took in ways.items())
        ratio = ours / min(ways.values())
        target = targets[count] if side >= 3000 else None
        mark = "" if target is None else (" met" if ratio <= target else " **missed**")
        goal = "" if target is None else f"{target}"
        yield f"| {side}² | {count} | {shown} | {ratio:.2f} | {goal}{mark} |"


def ready_lines(results):
    """Peers' steps that do less than ours, as multiples of ours."""
    for less, step in (
        ("directions, flats left", "directions"),
        ("accumulation, order ready", "accumulation"),
        ("catchments, order ready", "catchments"),
    ):
        for (side, count), best in results.items():
            peers = peers_of(best, less)
            if peers:
                ours = best[step, OURS]
                shown = ", ".join(f"{name} {took / ours:.2f}" for name, took in peers.items())
                yield f"- {less}, {side}², {count} threads: {shown}"


def notes(entries):
    return sorted({f"{e.library}, {e.step}: {e.note}" for e in entries if e.note})


def write(results, entries, missing, probed, arguments):
    """Write the page of results."""
    libraries = ["numpy", "numba", "richdem2", "pyflwdir", "pysheds", "scikit-image"]
    libraries += [name for name in ("topotoolbox", "fastscapelib") if name not in missing]
    page = PAGE.format(
        cores=os.cpu_count(),
        rounds=arguments.rounds,
        too_slow=f"{TOO_SLOW:.0f}",
        versions=", ".join(f"{name} {metadata.version(name)}" for name in libraries),
        missing=f" Not installed: {', '.join(missing)}." if missing else "",
        chains="\n".join(chain_rows(results)),
        steps="\n".join(step_rows(results)),
        ready="\n".join(ready_lines(results)),
        notes="\n".join(f"- {note}" for note in notes(entries)),
        probed="\n".join(probed),
    )
    RESULTS.write_text(page, encoding="utf-8")


def probe(sides):
    """Measure growth and memory up to the largest side, and compiling, in own processes."""
    lines = []
    base = None
    for side in sides:
        found = growth(side)
        wall, cpu, per_cell = found["wall_s"], found["cpu_s"], found["bytes_per_cell"]
        base = base or (side, wall, cpu)
        cells = (side / base[0]) ** 2
        lines.append(
            f"- {side}²: {wall / base[1]:.1f} times the wall time and {cpu / base[2]:.1f} times "
            f"the processor time of {base[0]}² for {cells:.0f} times the cells; peak "
            f"{per_cell:.1f} bytes a cell above the input (target at most 40)."
        )
    cold, warm = compiling()
    lines.append(
        f"- Compiling every kernel of the water core into an empty cache: {cold['cpu_s']:.0f} s "
        f"of processor time (target with all other kernels below 30 s); loading them later: "
        f"{warm['wall_s']:.2f} s (target below 1 s). These two depend on the machine."
    )
    return lines


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sides", type=int, nargs="+", default=[1000, 3000], help="grid sides")
    parser.add_argument("--large", action="store_true", help="probe growth up to 10000²")
    parser.add_argument("--rounds", type=int, default=5, help="turns that count")
    parser.add_argument("--threads", type=int, nargs="+", default=[1, 2])
    arguments = parser.parse_args()
    results, slow = {}, set()
    for side in arguments.sides:
        dem = terrain(side)
        entries, missing = contestants(dem, nested_intakes(dem))
        running = [e for e in entries if (e.step, e.library) not in slow]
        for count in arguments.threads:
            print(f"{side}² on {count} threads: {len(running)} contestants", flush=True)
            results[side, count] = turns(running, count, arguments.rounds)
        slow |= slow_ones(running, results[side, arguments.threads[0]])
    probed = probe([*arguments.sides, *([10_000] if arguments.large else [])])
    write(results, entries, missing, probed, arguments)
    print(RESULTS.read_text(encoding="utf-8"))


if __name__ == "__main__":
    keep_freed_memory()
    main()
