"""Uniform flow, vegetation, permissible speed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from brimline.elements import Drain, Soak, Trapezoid
from brimline.elements.drain import (
    PERMISSIBLE_M_S,
    RETARDANCE,
    ROUGHNESS,
    flow_at_m3_s,
    normal_depth_m,
    permissible_m_s,
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
    # Chow (1959), table 5-6: earth with short grass, few weeds, normal 0.027 (from memory)
    assert ROUGHNESS["short-grass"] == 0.027


@pytest.mark.parametrize(
    ("grass", "fall", "soil", "feet_per_s"),
    [
        ("bermuda-grass", 0.03, "firm-loam", 8),
        ("bermuda-grass", 0.20, "sandy-loam", 4),
        ("sod-forming-grass", 0.08, "silt-loam", 4),
        ("grass-mixture", 0.05, "firm-loam", 5),
        ("grass-mixture", 0.003, "sandy-loam", 4),
        ("grass-mixture", 0.09, "fine-sand", 3),
        ("bunch-grass", 0.02, "fine-sand", 2.5),
    ],
)
def test_speed_that_grass_stands(grass, fall, soil, feet_per_s):
    # SCS-TP-61 (1954), Handbook of Channel Design for Soil and Water Conservation, table of
    # permissible velocities in vegetal-lined channels, as reprinted in the codes of Winchester,
    # Indiana (table 7)
    assert permissible_m_s(soil, fall, grass) == pytest.approx(feet_per_s * FOOT_M)


def test_grass_counts_neither_where_it_is_not_to_be_used_nor_below_the_bare_bed():
    # the same table: no grass mixtures beyond 10 %, no bunch grass beyond 5 %
    assert permissible_m_s("firm-loam", 0.12, "grass-mixture") == PERMISSIBLE_M_S["firm-loam"]
    assert permissible_m_s("sandy-loam", 0.06, "bunch-grass") == PERMISSIBLE_M_S["sandy-loam"]
    assert permissible_m_s("hardpan", 0.01, "grass-mixture") == PERMISSIBLE_M_S["hardpan"]


def test_grass_slows_a_drain_and_lets_it_stand_more():
    steep = replace(BASIC, to_level_m=97.0, soil="sandy-loam")
    grassed = steep.under_grass()
    assert steep.speed_caution(0.1) is not None
    assert grassed.speed_caution(0.1) is None
    assert grassed.speed_m_s(0.1) < steep.speed_m_s(0.1)
    assert grassed.capacity_m3_s() < steep.capacity_m3_s()


def test_a_deeper_drain_keeps_its_banks_and_fall():
    deeper = BASIC.deeper(0.2)
    assert deeper.from_level_m + deeper.depth_m == pytest.approx(BASIC.from_level_m + BASIC.depth_m)
    assert deeper.fall == pytest.approx(BASIC.fall)
    assert deeper.capacity_m3_s() > BASIC.capacity_m3_s()


def test_characteristic_length_is_that_of_kalinin_and_milyukov():
    # L = Q/(B S c), c = dQ/dA, at half of the depth that the freeboard leaves (from memory)
    depth = (BASIC.depth_m - BASIC.freeboard_m) / 2
    step = 1e-5
    flow = BASIC.flow_at_m3_s(depth)
    rise = BASIC.flow_at_m3_s(depth + step) - BASIC.flow_at_m3_s(depth - step)
    width = BASIC.section.top_width_m(depth)
    celerity = rise / (2 * step * width)
    assert BASIC.reach_m() == pytest.approx(flow / (width * BASIC.fall * celerity), rel=0.03)


def test_travel_time_is_length_over_speed():
    flow = 0.05
    assert BASIC.travel_s(flow) == pytest.approx(150.0 / BASIC.speed_m_s(flow))
    assert math.isinf(BASIC.travel_s(0.0))


def test_fast_drain_is_said_with_the_fall_that_would_do():
    steep = replace(BASIC, to_level_m=94.0)
    peak = 0.1
    caution = steep.speed_caution(peak)
    assert caution is not None
    assert caution.flag == "fast-flow"
    fall = steep.permissible_fall(peak)
    assert caution.text == (
        f"0.100 m³/s runs at {steep.speed_m_s(peak):.2f} m/s where the lining stands"
        f" {steep.permissible_m_s:.2f} m/s; a fall of {100 * fall:.2f} % or less would do"
    )
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


def test_no_water_has_no_depth():
    assert normal_depth_m(Trapezoid(0.5, 1.5), 0.0, 0.004, 0.03) == 0.0


@pytest.mark.parametrize(("depth_m", "fall"), [(0.0, 0.01), (-0.1, 0.01), (0.2, 0.0), (0.2, -0.01)])
def test_nothing_flows_without_depth_or_fall(depth_m, fall):
    assert flow_at_m3_s(Trapezoid(0.5, 1.5), depth_m, fall, 0.03) == 0.0


def test_a_drain_is_told_at_its_brim_and_below_its_freeboard():
    drain = Drain("d", 100.0, 99.5, 150.0, depth_m=0.5, freeboard_m=0.1)
    levels = drain.element().stages.level_m
    bed = levels[0]
    for above in (0.4, 0.5):
        assert np.abs(levels - (bed + above)).min() < 1e-9


def test_what_soaks_away_goes_with_the_drain():
    soak = Soak(12.0)
    assert Drain("d", 100.0, 99.5, 150.0, soak=soak).element().soak == soak
