"""The cheapest design, against optima that are known."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from brimline._jit import threads
from brimline.cascade import Discharge, Free, Goals, Link, Network, Pace, StormInflow
from brimline.choose.search import DesignSpace, affordable, search
from brimline.elements import Sill, Tank

PACE = Pace(after_h=0.5)


def cascade(count: int, rise_m: float = 3.0) -> Network:
    """Tanks, each spilling freely into the next, the last one into a brook."""
    tanks = [
        Tank(f"t{n}", rise_m * (count - n), 5.0, 2.0, rim_m=0.5, start_share=0.0).element()
        for n in range(count)
    ]
    links = [
        Link(
            one.element_id, f"t{n + 1}" if n + 1 < count else "brook", Sill(one.spill_level_m, 4.0)
        )
        for n, one in enumerate(tanks)
    ]
    return Network(tuple(tanks), tuple(links), (Discharge("brook", "brook"),))


def inflow(volume_m3: float, hours: float = 2.0) -> StormInflow:
    edges = np.linspace(0, 3600 * hours, 5)
    return StormInflow(edges, {"t0": np.full(4, volume_m3 / (3600 * hours))})


def space(count, cost, asked, *, low=1.0, high=30.0, step=1.0, volume=60.0, check=None):
    free = tuple(Free(f"t{n}", "volume_m3", low, high, step) for n in range(count))
    storms = (inflow(volume), *([] if check is None else [check]))
    return DesignSpace(cascade(count), storms, free, cost, Goals(asked), PACE)


def test_dear_tanks_stay_small():
    """Linear prices: the cheapest store is filled to its bound first, then the next.

    3 tanks that hold together what is asked for, 45 of 60 m³: with prices 9, 4 and 6 a cubic
    metre the second is as large as may be (30), the third has what is left (14), the first the
    least (1). Each holds above its overflow what the sill needs, so a step more or less is exact.
    """
    prices = np.array([9.0, 4.0, 6.0])
    tried = space(3, lambda values: float(prices @ values), 0.75)
    found = search(tried, tries=600, points=1)
    assert found.met
    t0, t1, t2 = found.best.values
    assert (t0, t1) == (1.0, 30.0)
    assert 12.0 <= t2 <= 14.0
    cheaper = tried.trial((t0, t1, t2 - 1.0))
    assert cheaper.kept_share < 0.75  # not one step of it is spare


def test_rising_prices_are_shared_out():
    """Cost a V²: at the optimum a V is alike in all, so V is as 1 / a (Lagrange)."""
    weights = np.array([1.0, 2.0, 4.0])
    tried = space(
        3, lambda values: float(weights @ np.square(values)), 0.6, low=0.5, high=30.0, step=0.25
    )
    found = search(tried, tries=1500, points=1)
    values = np.array(found.best.values)
    ideal = values.sum() * (1 / weights) / (1 / weights).sum()
    assert values == pytest.approx(ideal, abs=0.5)
    # whatever the steps leave, it is no dearer than the ideal on a plane by more than two steps
    assert found.best.cost <= float(weights @ np.square(ideal)) * 1.02


@pytest.mark.parametrize("seed", [1, 2])
def test_as_cheap_as_every_design_tried(seed):
    """Brute force over all 8³ designs, in a design storm and a check storm; prices of no order."""
    rng = np.random.default_rng(seed)
    table = (
        rng.uniform(50, 400, size=(3, 9)).cumsum(axis=1)
        if seed == 1
        else rng.uniform(50, 400, (3, 9))
    )

    def cost(values):
        return float(sum(table[n, round(v / 4)] for n, v in enumerate(values)))

    check = inflow(140.0, 0.4)
    one = space(3, cost, 0.5, low=4.0, high=32.0, step=4.0, check=check)
    axis = [4.0 * n for n in range(1, 9)]
    every = [one.trial(values) for values in itertools.product(axis, repeat=3)]
    holds = [t for t in every if t.holds and t.kept_share >= 0.5]
    fresh = space(3, cost, 0.5, low=4.0, high=32.0, step=4.0, check=check)
    found = search(fresh, tries=450, points=1, seed=seed)
    assert found.best.cost == min(t.cost for t in holds)
    assert len(fresh.known) < len(every)


def test_the_curve_is_of_designs_that_none_beats():
    """One tank: what is kept rises with its volume, so the curve is the price of each volume."""
    one = space(1, lambda values: 100.0 + 7.0 * values[0], 0.1, low=2.0, high=30.0, step=2.0)
    found = search(one, tries=60, points=4)
    costs = [t.cost for t in found.curve]
    kept = [t.kept_m3 for t in found.curve]
    assert costs == sorted(costs)
    assert kept == sorted(kept)
    assert costs[-1] == 100.0 + 7.0 * 30.0  # the most that can be kept is on it
    for t in found.curve:
        assert t.cost == 100.0 + 7.0 * t.values[0]


def test_the_design_within_a_budget_keeps_the_most_that_it_buys():
    """One tank at 7 a cubic metre over 100, steps of 2: 156 buys 8 m³, whatever was asked for."""
    one = space(1, lambda values: 100.0 + 7.0 * values[0], 0.4, low=2.0, high=30.0, step=2.0)
    search(replace(one, goals=Goals()), tries=60, points=8)
    best = affordable(one, 156.0)[0]
    assert best.values == (8.0,)
    assert best.kept_share < 0.4
    assert affordable(one, 110.0) == ()


def test_twelve_tanks_by_closed_form():
    """Twelve free volumes at linear prices: fill the cheapest first, to its bound."""
    rng = np.random.default_rng(12)
    prices = rng.permutation(np.linspace(3.0, 14.0, 12))
    tried = space(
        12, lambda values: float(prices @ values), 0.5, low=1.0, high=16.0, step=1.0, volume=180.0
    )
    found = search(tried, tries=1200, points=1)
    kept_m3 = found.best.kept_m3
    # what the sills hold besides the volumes is the same for all tanks of one surface
    spare = kept_m3 - sum(found.best.values)
    wanted, ideal = 90.0 - spare, np.ones(12)
    for place in np.argsort(prices):
        ideal[place] += min(15.0, wanted - ideal.sum())
        if ideal.sum() >= wanted - 1e-9:
            break
    assert found.best.cost <= float(prices @ ideal) * 1.02


def test_nothing_holds_is_said():
    one = space(2, lambda values: float(sum(values)), 0.99, high=5.0)
    found = search(one, tries=60, points=3)
    assert not found.met
    assert found.best.kept_share == max(t.kept_share for t in one.known.values())


def test_the_same_seed_finds_the_same_on_one_core_and_on_three():
    def once(count):
        one = space(3, lambda v: float(v[0] + 2 * v[1] + 3 * v[2]), 0.5, step=2.0, low=2.0)
        with threads(count):
            return search(one, tries=120, points=3)

    first, again = once(1), once(3)
    assert first.curve == again.curve
    assert first.best == again.best
    assert first.tries == again.tries


def test_a_design_that_is_no_cheaper_than_one_to_beat_is_not_routed():
    one = space(2, lambda values: float(sum(values)), 0.5)
    dear, short, cheap = (30.0, 20.0), (1.0, 1.0), (30.0, 4.0)
    found = one.trials([dear, short, cheap], [40.0, 40.0, 40.0], 0.5)
    assert found[:2] == [None, None]
    assert found[2] is not None
    assert found[2].kept_share >= 0.5
    assert dear not in one.begun
    assert one.begun[short].kept_share < 0.5
    assert one.trial(short).kept_share == one.begun[short].kept_share


def test_what_cannot_be_built_is_passed_over():
    network = cascade(1)
    free = (Free("t0", "height_m", -1.0, 2.0, 0.5),)
    one = DesignSpace(network, (inflow(4.0),), free, lambda v: v[0], Goals(), PACE)
    found = search(one, tries=50, points=1)
    assert found.best.holds
    assert math.isinf(one.trial((-1.0,)).cost)
    with pytest.raises(ValueError, match="no free dimension"):
        search(DesignSpace(network, (inflow(4.0),), (), lambda _: 0.0, Goals(), PACE))
