"""Uniform flow, vegetation, permissible speed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from brimline.elements import Drain, Trapezoid
from brimline.elements.drain import (
    PERMISSIBLE_GRASS_M_S,
    PERMISSIBLE_M_S,
    RETARDANCE,
    ROUGHNESS,
    flow_at_m3_s,
    normal_depth_m,
    vegetal_roughness,
)
from brimline.units import FOOT_M

BASIC = Drain("d", 100.0, 99.5, 150.0)


def test_normal_depth_of_chow_example_6_2():
    # Chow (1959), Open-Channel Hydraulics, Example 6-2 (value from memory): trapezoid 20 ft wide,
    # sides 2:1, slope 0.0016, n 0.025, 400 ft³/s: normal depth 3.36 ft
    section = Trapezoid(20 * FOOT_M, 2.0)
    depth = normal_depth_m(section, 400 * FOOT_M**3, 0.0016, 0.025)
    assert depth / FOOT_M == pytest.approx(3.36, abs=0.005)


def test_depth_and_flow_invert_each_other():
    for depth in (0.02, 0.2, 0.9):
        flow = flow_at_m3_s(Trapezoid(0.5, 1.5), depth, 0.004, 0.03)
        assert normal_depth_m(Trapezoid(0.5, 1.5), flow, 0.004, 0.03) == pytest.approx(depth)


def test_manning_by_hand():
    # wide channel 10 m, 0.1 m deep, vertical sides: R = 1/10.2
    flow = flow_at_m3_s(Trapezoid(10.0, 0.0), 0.1, 0.01, 0.02)
    assert flow == pytest.approx(1.0 * (1 / 10.2) ** (2 / 3) * 0.1 / 0.02)


def test_grass_bends_as_the_flow_grows():
    # value from memory: Temple et al. (1987), class C at VR = 1 ft²/s:
    # n = exp(5.60 x 0.297 - 4.16) = 0.0823
    assert vegetal_roughness("C", 1.0 * FOOT_M, 1.0 * FOOT_M) == pytest.approx(0.0823, abs=1e-4)
    rates = [vegetal_roughness("C", v, 0.1) for v in (0.05, 0.3, 1.0, 3.0)]
    assert rates == sorted(rates, reverse=True)


def test_taller_grass_is_rougher():
    at_one = [vegetal_roughness(name, 0.5, 0.1) for name in RETARDANCE]
    assert at_one == sorted(at_one, reverse=True)


def test_vegetal_flow_agrees_with_its_own_speed():
    section, depth, fall = Trapezoid(0.4, 3.0), 0.3, 0.01
    flow = flow_at_m3_s(section, depth, fall, "D")
    speed = flow / section.area_m2(depth)
    radius = section.area_m2(depth) / section.wetted_perimeter_m(depth)
    n = vegetal_roughness("D", speed, radius)
    assert speed == pytest.approx(radius ** (2 / 3) * math.sqrt(fall) / n, rel=1e-6)


def test_tables_are_in_metres():
    # Fortier & Scobey (1926), ordinary firm loam 2.50 ft/s (value from memory)
    assert PERMISSIBLE_M_S["firm-loam"] == pytest.approx(0.762)
    # SCS-TP-61, grass mixture on erosion-resistant soil 5 ft/s (value from memory)
    assert PERMISSIBLE_GRASS_M_S["grass-mixture"][0] == pytest.approx(1.524)
    # Chow (1959), table 5-6: earth with short grass, few weeds, normal 0.027 (from memory)
    assert ROUGHNESS["short-grass"] == 0.027


def test_fast_drain_is_said_with_the_fall_that_would_do():
    steep = replace(BASIC, to_level_m=94.0)
    peak = 0.1
    caution = steep.speed_caution(peak)
    assert caution is not None
    assert caution.flag == "fast-flow"
    fall = steep.permissible_fall(peak)
    flatter = replace(steep, to_level_m=100.0 - fall * 150.0)
    assert flatter.speed_m_s(peak) == pytest.approx(steep.permissible_m_s, rel=1e-6)
    assert flatter.speed_caution(peak) is None


def test_outlet_is_uniform_flow_by_depth():
    outlet = BASIC.outlet()
    depths = np.array([0.05, 0.2, 0.4])
    flows = np.interp(depths, outlet.heads_m, outlet.flows_m3_s)
    expected = [BASIC.flow_at_m3_s(float(depth)) for depth in depths]
    assert flows == pytest.approx(expected, rel=5e-3)
    assert outlet.leaves_at_m == BASIC.to_level_m


def test_drain_holds_its_section_times_length():
    element = BASIC.element()
    assert element.storage_m3 == pytest.approx(150.0 * BASIC.section.area_m2(0.3))
    assert BASIC.capacity_m3_s() == pytest.approx(BASIC.flow_at_m3_s(0.3))


@pytest.mark.parametrize(
    ("change", "says"),
    [({"to_level_m": 101.0}, "must fall"), ({"freeboard_m": 0.5}, "freeboard")],
)
def test_impossible_drains_are_refused(change, says):
    with pytest.raises(ValueError, match=says):
        replace(BASIC, **change)
