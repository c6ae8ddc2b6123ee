"""A drain routed as a pool against the kinematic wave, whose travel time is known exactly."""

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
    assert centre_s - 7200.0 == pytest.approx(DRAIN.length_m / celerity_m_s(base), rel=0.03)


def test_a_storm_leaves_a_drain_as_the_kinematic_wave_does():
    inflow = 0.12 * np.exp(-0.5 * ((MIDDLES - 7200.0) / 1200.0) ** 2)
    out = routed_flow(inflow)
    # along a characteristic the flow stays the same and arrives L/c later: no peak is lost
    strong = inflow > 0.01
    arrives_s = MIDDLES[strong] + [DRAIN.length_m / celerity_m_s(q) for q in inflow[strong]]
    there = np.interp(arrives_s, MIDDLES, out)
    np.testing.assert_allclose(there, inflow[strong], atol=0.025 * 0.12)
    assert out.max() == pytest.approx(inflow.max(), rel=0.03)
