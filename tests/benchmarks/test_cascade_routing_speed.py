"""Routing 200 elements through a day in one-minute steps: under a second once compiled.

The ratio is to the same loop without the compiler, step for step over the wettest part of the
same storm, so that the figure does not hang on the machine. Processor time is taken, not the
clock's, because other work may share the machine. Run with ``-s`` to see the figures.
"""

import json
import os
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pytest

from brimline.cascade import (
    CascadeLimits,
    Discharge,
    Link,
    Network,
    Pace,
    StormInflow,
    assess,
    mends_for,
    route,
)
from brimline.elements import Pipe, Sill, Soak, Swale

pytestmark = pytest.mark.slow  # the plain loop takes its time

ELEMENTS = 200
TARGET_S = 1.0
TARGET_RATIO = 50.0
PLAIN_STEPS = 8
MENDING_S = 10.0


def cascade(count=ELEMENTS, drop_m=0.3):
    """Swales down a slope, some with a low pipe, a third soaking by Green and Ampt."""
    rng = np.random.default_rng(7)
    elements, links = [], []
    for at in range(count):
        level = 100.0 - drop_m * at
        soil = (200.0, 0.3) if at % 3 == 0 else (0.0, 0.0)
        soak = Soak(float(rng.uniform(5, 60)), 2.0, *soil)
        length = float(rng.uniform(20, 80))
        elements.append(Swale(f"e{at}", level, length, 12.0, soak=soak).element())
        to = at + int(rng.integers(1, 4))
        target = f"e{to}" if to < count else "end"
        links.append(Link(f"e{at}", target, Sill(level, float(rng.uniform(1, 4)))))
        if at % 4 == 0:
            links.append(Link(f"e{at}", target, Pipe(level - 0.2, level - 0.25, 0.1, 5.0)))
    return Network(tuple(elements), tuple(links), (Discharge("end", "End"),))


def storm(steps=1440, count=ELEMENTS):
    rng = np.random.default_rng(8)
    edges = 60.0 * np.arange(1441)
    bell = np.exp(-0.5 * ((edges[1:] - 43_200.0) / 3000.0) ** 2)
    first = 720 - steps // 2
    part = slice(first, first + steps)
    means = {f"e{at}": bell[part] * float(rng.uniform(0.001, 0.01)) for at in range(count)}
    return StormInflow(edges[first : first + steps + 1], means)


def seconds(network, inflow, repeats):
    best = float("inf")
    for _ in range(repeats):
        before = time.process_time()
        route(network, inflow, Pace(after_h=0.0))
        best = min(best, time.process_time() - before)
    return best


def seconds_a_step(network, repeats):
    """Time of one step near the peak, less what is spent before the first one."""
    short = seconds(network, storm(2), repeats)
    return (seconds(network, storm(2 + PLAIN_STEPS), repeats) - short) / PLAIN_STEPS


def plain_seconds_a_step():
    """The same without the compiler, in a process of its own."""
    code = (
        "import runpy, sys, json\n"
        f"given = runpy.run_path({str(__file__)!r})\n"
        "taken = given['seconds_a_step'](given['cascade'](), 1)\n"
        "print(json.dumps(taken))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=True,
        timeout=300,
    )
    return float(json.loads(done.stdout))


def test_a_day_of_200_elements_takes_under_a_second():
    network = cascade()
    seconds(network, storm(2), 1)  # compiles, or loads what was compiled
    whole = seconds(network, storm(), 5)
    ratio = plain_seconds_a_step() / seconds_a_step(network, 9)
    print(f"\n{ELEMENTS} elements, 1440 steps: {whole:.3f} s; plain Python is {ratio:.0f} x slower")
    assert whole < TARGET_S
    assert ratio > TARGET_RATIO


def test_mending_a_broken_chain_of_200_takes_seconds():
    network = cascade()
    narrow = tuple(
        replace(link, outlet=replace(link.outlet, width_m=0.3))
        if place % 3 == 0 and isinstance(link.outlet, Sill)
        else link
        for place, link in enumerate(network.links)
    )
    routed, findings = assess(replace(network, links=narrow), storm(), CascadeLimits(), Pace())
    assert len(findings) > 15
    before = time.process_time()
    mends = mends_for(routed, findings, pace=Pace())
    taken = time.process_time() - before
    print(f"\n{len(findings)} findings, {len(mends)} mends: {taken:.1f} s")
    assert len(mends) > 20
    assert taken < MENDING_S


def test_drowned_sills_do_not_slow_it_down():
    network = cascade(drop_m=0.05)  # every sill is drowned by the next level at the peak
    seconds(network, storm(2), 1)
    whole = seconds(network, storm(), 3)
    print(f"\n{ELEMENTS} elements 5 cm apart, 1440 steps: {whole:.3f} s")
    assert whole < TARGET_S
