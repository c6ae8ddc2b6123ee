"""Drains routed as pools against the kinematic wave, whose travel time is known exactly."""

from dataclasses import replace

import numpy as np
import pytest

from brimline.cascade import Discharge, Link, Network, Pace, StormInflow, route
from brimline.elements import Drain, Trapezoid

# Lighthill & Whitham (1955), On kinematic waves I: a flow travels at the celerity dQ/dA.
DRAIN = Drain("d", 100.0, 99.4, 200.0, Trapezoid(0.5, 2.0), 0.5, 0.027)  # 0.3 %, short grass
EDGES = 20.0 * np.arange(1081)  # six hours
MIDDLES = (EDGES[1:] + EDGES[:-1]) / 2


def routed_flow(inflow):
    network = Network(
        (DRAIN.element(),), (Link("d", "end", DRAIN.outlet()),), (Discharge("end", "End", 90.0),)
    )
    pace = Pace(after_h=0.0, tolerance_m=1e-4)
    routed = route(network, StormInflow(EDGES, {"d": inflow}), pace)
    assert abs(routed.residual_m3) < 1e-6 * float(inflow.sum() * 20.0)
    return routed.series.flow_m3_s[:, 0]


def celerity_m_s(flow):
    """DQ/dA at a uniform flow."""
    flows = np.array([flow * 0.99, flow * 1.01])
    areas = [DRAIN.section.area_m2(DRAIN.depth_for_m(float(one))) for one in flows]
    return float((flows[1] - flows[0]) / (areas[1] - areas[0]))


@pytest.mark.parametrize("base", [0.02, 0.1])
def test_a_small_wave_on_a_steady_flow_comes_out_after_its_travel_time(base):
    wave = 0.05 * base * np.exp(-0.5 * ((MIDDLES - 7200.0) / 900.0) ** 2)
    out = routed_flow(base + wave)
    late = MIDDLES > 3600.0  # the drain has filled
    above = np.maximum(out[late] - base, 0.0)
    centre_s = float((above * MIDDLES[late]).sum() / above.sum())
    assert centre_s - 7200.0 == pytest.approx(DRAIN.length_m / celerity_m_s(base), rel=0.05)


def test_a_storm_leaves_a_drain_as_the_kinematic_wave_does():
    inflow = 0.12 * np.exp(-0.5 * ((MIDDLES - 7200.0) / 1200.0) ** 2)
    out = routed_flow(inflow)
    # along a characteristic the flow stays the same and arrives L/c later: no peak is lost
    strong = inflow > 0.01
    arrives_s = MIDDLES[strong] + [DRAIN.length_m / celerity_m_s(q) for q in inflow[strong]]
    there = np.interp(arrives_s, MIDDLES, out)
    np.testing.assert_allclose(there, inflow[strong], atol=0.025 * 0.12)
    assert out.max() == pytest.approx(inflow.max(), rel=0.03)


@pytest.mark.parametrize(
    ("length_m", "spread_s"), [(200.0, 600.0), (400.0, 1200.0), (800.0, 1800.0)]
)
def test_a_long_drain_keeps_the_height_of_a_wave(length_m, spread_s):
    # one pool alone would leave 0.110 of these 0.12 m³/s in the first two
    inflow = 0.12 * np.exp(-0.5 * ((MIDDLES - 7200.0) / spread_s) ** 2)
    longer = replace(DRAIN, length_m=length_m, to_level_m=100.0 - 0.003 * length_m)
    network = Network(
        (longer.element(),), (Link("d", "end", longer.outlet()),), (Discharge("end", "End", 90.0),)
    )
    routed = route(network, StormInflow(EDGES, {"d": inflow}), Pace(after_h=2.0))
    assert routed.links.peak_m3_s[0] == pytest.approx(0.12, rel=0.04)
    later_s = routed.links.peak_s[0] - 7200.0
    assert later_s == pytest.approx(length_m / celerity_m_s(0.12), rel=0.15, abs=20.0)
    assert abs(routed.residual_m3) < 1e-6 * float(inflow.sum() * 20.0)


def test_pools_of_a_drain_make_up_the_whole():
    inflow = np.where(MIDDLES < 3600.0, 2.0, 0.0)  # far too much: it runs over its banks
    longer = replace(DRAIN, length_m=600.0, to_level_m=98.2)
    network = Network(
        (longer.element(),), (Link("d", "end", longer.outlet()),), (Discharge("end", "End", 90.0),)
    )
    routed = route(network, StormInflow(EDGES, {"d": inflow}), Pace(after_h=6.0))
    sums = routed.elements
    assert sums.overtopped_m3[0] > 0
    assert sums.peak_level_m[0] > longer.element().crest_level_m
    left = sums.spilled_m3[0] + sums.overtopped_m3[0]
    assert left + sums.end_m3[0] == pytest.approx(7200.0, rel=1e-9)
    assert routed.left_m3 == pytest.approx(left)
    flows = routed.series.flow_m3_s.sum(axis=1) @ np.diff(routed.series.edges_s)
    assert flows == pytest.approx(left)
    assert routed.series.storage_m3[-1, 0] == pytest.approx(sums.end_m3[0])
    assert routed.series.level_m[:, 0].max() <= sums.peak_level_m[0] + 1e-9
