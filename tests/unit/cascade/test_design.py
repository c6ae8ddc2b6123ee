"""Sizing free dimensions to meet goals."""

from dataclasses import replace

import numpy as np
import pytest

from brimline.cascade import (
    SILL_WIDTH,
    Discharge,
    Free,
    Goals,
    Link,
    Network,
    Pace,
    StormInflow,
    route,
    size,
)
from brimline.elements import Sill, Soak, Swale

BRIEF = Pace(after_h=72.0)


@pytest.fixture
def swale():
    shape = Swale("s", 10.0, 40.0, 8.0, soak=Soak(30.0, 2.0), bottom_m=1.0)
    link = Link("s", "end", Sill(10.0, 2.0))
    return Network((shape.element(),), (link,), (Discharge("end", "End", 5.0),))


def test_swale_is_sized_to_just_hold_the_storm(swale):
    # sealed, 20 m³ at once: section (1 + 2 y) y must hold 0.5 m² per metre: y = 0.309 m
    sealed = swale.with_element(replace(swale.element("s").shape, soak=Soak(0.0)).element())
    inflow = StormInflow(np.array([0.0, 60.0]), {"s": np.array([20.0 / 60])})
    sized = size(sealed, inflow, (Free("s", "depth_m", 0.1, 0.8),), Goals(1.0), pace=BRIEF)
    assert sized.met
    assert sized.values[0] == pytest.approx((-1 + np.sqrt(5)) / 4, abs=0.011)
    assert sized.values[0] >= (-1 + np.sqrt(5)) / 4


def test_sill_is_sized_for_the_peak(swale):
    # steady 0.1 m³/s from full: head is crest less freeboard less sill
    start = replace(swale.element("s").shape, start_level_m=10.0, soak=Soak(0.0)).element()
    inflow = StormInflow(np.array([0.0, 36_000.0]), {"s": np.array([0.1])})
    sized = size(
        swale.with_element(start), inflow, (Free("s", SILL_WIDTH, 0.1, 8.0, 0.05),), pace=BRIEF
    )
    head = start.highest_safe_m - 10.0
    width = 0.1 / (1.705 * 0.85 * head**1.5)
    assert sized.met
    assert width <= sized.values[0] + 1e-3 <= width + 0.06


def test_no_dimension_of_a_design_can_be_made_smaller(hillside, storm):
    free = (
        *(Free(f"swale-{at}", "depth_m", 0.2, 0.8) for at in range(3)),
        *(Free(f"swale-{at}", "bottom_m", 0.2, 4.0, 0.1) for at in range(3)),
    )
    goals = Goals(capture_share=0.6, drawdown_h=48.0)
    sized = size(hillside, storm, free, goals)
    assert sized.met
    outside = sized.routed.elements.outside_m3.sum()
    assert 1 - sized.routed.left_m3 / outside >= 0.6
    empties = np.array([element.empties for element in sized.network.elements])
    assert sized.routed.elements.drawdown_h[empties].max() <= 48.0
    for one in free:
        now = getattr(sized.network.element(one.element_id).shape, one.dimension)
        if now <= one.low + 1e-9:
            continue
        smaller = sized.network.element(one.element_id).changed(one.dimension, now - one.step)
        routed = route(sized.network.with_element(smaller), storm)
        assert 1 - routed.left_m3 / outside < 0.6


def test_goals_out_of_reach_are_said(swale):
    inflow = StormInflow(np.array([0.0, 3600.0]), {"s": np.array([0.1])})
    sized = size(swale, inflow, (Free("s", "depth_m", 0.1, 0.3),), Goals(1.0), pace=BRIEF)
    assert not sized.met
    assert sized.shortfall.capture > 0.5
    assert sized.values == (0.3,)  # as near as the bounds allow


def test_conflicting_goals_end_between_the_bounds(swale):
    # more depth captures more but drains slower: 18 h at 15 mm/h is 0.27 m and the residual
    inflow = StormInflow(np.array([0.0, 600.0]), {"s": np.array([30.0 / 600])})
    goals = Goals(capture_share=1.0, drawdown_h=18.0)
    sized = size(swale, inflow, (Free("s", "depth_m", 0.1, 0.8),), goals, pace=BRIEF)
    assert not sized.met
    assert 0.1 < sized.values[0] < 0.8


def test_bounds_that_cannot_be_built_are_refused(swale):
    inflow = StormInflow(np.array([0.0, 600.0]), {"s": np.array([0.01])})
    with pytest.raises(ValueError, match="no combination"):
        size(swale, inflow, (Free("s", "ground_slope_pct", 90.0, 99.0),), pace=BRIEF)
    with pytest.raises(ValueError, match="no free"):
        size(swale, inflow, ())
    with pytest.raises(ValueError, match="rising bounds"):
        Free("s", "depth_m", 1.0, 0.5)


def test_a_large_cascade_searched_in_joined_steps_meets_its_goal_in_the_storm_as_it_is(bell):
    count = 45
    elements = [
        Swale(f"s{at}", 100.0 - at, 40.0, 8.0, depth_m=0.3, soak=Soak(20.0, 2.0)).element()
        for at in range(count)
    ]
    links = [
        Link(f"s{at}", f"s{at + 1}" if at + 1 < count else "end", Sill(100.0 - at, 3.0))
        for at in range(count)
    ]
    network = Network(tuple(elements), tuple(links), (Discharge("end", "End", 5.0),))
    inflow = StormInflow(60.0 * np.arange(1441), {"s0": bell(0.2)}, ends_s=60_000.0)
    free = (Free("s3", "depth_m", 0.2, 1.2), Free("s20", "depth_m", 0.2, 1.2))
    now = route(network, inflow)
    captured = 1 - now.left_m3 / now.elements.outside_m3.sum()
    goals = Goals(capture_share=captured + 0.015)
    sized = size(network, inflow, free, goals)
    assert sized.met
    assert 1 - sized.routed.left_m3 / sized.routed.elements.outside_m3.sum() >= goals.capture_share
    assert sized.routed.inflow is inflow
