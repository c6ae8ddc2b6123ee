"""Thirty years of days through 50 zones and 50 stores, and a curve of 40 sizes.

Processor time is taken, not the clock's, because other work may share the machine; the curve is
held to a ratio of one run, so that it does not hang on the machine. Run with ``-s`` for the
figures.
"""

import time

import numpy as np
import pytest

from brimline._jit import threads
from brimline.balance.simulate import simulate, simulate_sizes
from brimline.balance.sizing import size_curve
from brimline.balance.surface import SoilSurface
from brimline.balance.system import SHAPE_POINTS, System, WaterStore, Zone

DAYS, ZONES, STORES, SIZES = 10_957, 50, 50, 40
TARGET_S = 1.0
TARGET_RATIO = 10.0


@pytest.fixture(scope="module", params=["single", "dual"])
def system(request):
    """A chain of stores that feed the zones beside them and water them, by turns."""
    surface = None
    if request.param == "dual":
        surface = SoilSurface(np.full(DAYS, 1.2), np.full(DAYS, 0.4), 20.0, 9.0, wetted_share=0.4)
    rng = np.random.default_rng(1)
    rain = np.where(rng.random(DAYS) < 0.35, rng.gamma(0.8, 8, DAYS), 0.0)
    season = 3.0 - 2.6 * np.cos(2 * np.pi * np.arange(DAYS) / 365.25)
    zones = tuple(
        Zone(f"z{i}", float(rng.uniform(100, 2000)), float(rng.uniform(50, 200)), 0.5,
             rng.uniform(0.4, 1.1, DAYS), 0.1 * rain, (f"s{i}", f"s{(i + 7) % STORES}"),
             most_mm=10.0, surface=surface)
        for i in range(ZONES)
    )  # fmt: skip
    stores = tuple(
        WaterStore(f"s{i}", float(rng.uniform(5, 200)), rain * float(rng.uniform(0.05, 1.0)),
              np.linspace(10, 80, SHAPE_POINTS), open_m2=80.0,
              seep_mm=float(rng.choice([0.0, 2.0, 150.0])), evaporates=1.05,
              spills_to=f"s{i + 1}" if i % 5 < 4 else "",
              feeds={f"z{i}": 0.3} if i % 3 == 0 else {})
        for i in range(STORES)
    )  # fmt: skip
    made = System(rain, season, zones, stores)
    simulate(made.first_days(3))  # compiles, or loads what was compiled
    simulate_sizes(made.first_days(3), "s0", [1.0])
    return made


def seconds(action, repeats=3):
    best = float("inf")
    for _ in range(repeats):
        before = time.process_time()
        action()
        best = min(best, time.process_time() - before)
    return best


def test_thirty_years_of_fifty_zones_and_fifty_stores_take_less_than_a_second(system):
    took = seconds(lambda: simulate(system))
    print(f"one run with every day kept: {took:.2f} s")
    assert took < TARGET_S


def test_forty_sizes_take_less_than_ten_runs(system):
    with threads(1):
        one = seconds(lambda: simulate(system))
        curve = seconds(lambda: size_curve(system, "s0", np.linspace(0, 300, SIZES).tolist()), 2)
    print(f"one run {one:.2f} s, {SIZES} sizes {curve:.2f} s: {curve / one:.1f} runs")
    assert curve < TARGET_RATIO * one
