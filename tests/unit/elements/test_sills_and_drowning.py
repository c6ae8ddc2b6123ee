"""Weirs against published coefficients, and drowning by Villemonte."""

import math
from dataclasses import replace

import numpy as np
import pytest

from brimline.elements import Orifice, Pipe, Rating, Sill, discharge_m3_s, flow_m3_s, width_for_m
from brimline.elements.outlet import head_for_m
from brimline.elements.sill import BROAD, BROAD_SIDE, critical_speed_m_s

pytestmark = pytest.mark.interpreted

SILL = Sill(10.0, 2.0, discharge_coefficient=1.0)


def test_outlets_are_raised_with_all_else_alike():
    assert SILL.raised(0.25) == replace(SILL, crest_m=10.25)
    assert Orifice(10.0, 0.2).raised(0.25) == Orifice(10.25, 0.2)
    # of a pipe only the inlet is raised; where it is set below the outlet, the outlet follows it
    assert Pipe(10.0, 9.0, 0.2, 10.0).raised(0.25) == Pipe(10.25, 9.0, 0.2, 10.0)
    assert Pipe(10.0, 9.0, 0.2, 10.0).raised(-1.5) == Pipe(8.5, 8.5, 0.2, 10.0)
    rating = Rating(10.0, np.array([0.0, 1.0]), np.array([0.0, 0.5]))
    assert rating.raised(0.25).crest_m == 10.25


def test_broad_crest_coefficient_is_critical_flow():
    # (2/3)^1.5 √g = 1.705: Q per metre of width at critical depth 2/3 H is √(g (2H/3)³)
    assert pytest.approx(1.705, abs=1e-3) == BROAD
    assert math.sqrt(9.81 * (2 / 3 * 0.4) ** 3) == pytest.approx(BROAD * 0.4**1.5)
    assert flow_m3_s(SILL, 10.25) == pytest.approx(BROAD * 2.0 * 0.125)


def test_sloping_ends_are_critical_flow_in_a_triangle():
    # critical flow in a V of side z: depth 4/5 H, Q = A √(g A/T) with A = z y², T = 2 z y
    head, side = 0.5, 3.0
    depth = 0.8 * head
    flow = side * depth**2 * math.sqrt(9.81 * depth / 2)
    assert BROAD_SIDE * side * head**2.5 == pytest.approx(flow)
    wide = replace(SILL, side=side)
    assert flow_m3_s(wide, 10.5) == pytest.approx(BROAD * 2 * 0.5**1.5 + flow)


def test_sharp_crest():
    # Francis, 1.84 b H^1.5 (Chow 1959; value from memory)
    assert flow_m3_s(Sill(0.0, 1.5, "sharp"), 0.2) == pytest.approx(1.84 * 1.5 * 0.2**1.5)


def test_right_angled_notch():
    # 1.38 H^2.5 for 90° (value from memory)
    assert flow_m3_s(Sill(0.0, 0.0, "notch", side=1.0), 0.3) == pytest.approx(
        1.38 * 0.3**2.5, rel=2e-3
    )


@pytest.mark.parametrize("form", ["broad", "sharp"])
def test_width_passes_its_peak_at_its_head(form):
    width = width_for_m(0.42, 0.18, form=form, side=0.0)
    sill = Sill(5.0, width, form)
    assert flow_m3_s(sill, 5.18) == pytest.approx(0.42)
    assert sill.head_for_m(0.42) == pytest.approx(0.18)


def test_sides_alone_may_pass_the_peak():
    assert width_for_m(0.001, 0.5, side=5.0) == 0.0


def test_nothing_runs_below_the_crest():
    assert flow_m3_s(SILL, 10.0) == 0.0
    assert flow_m3_s(SILL, 9.0, 9.5) == 0.0


@pytest.mark.parametrize(("ratio", "exponent"), [(0.3, 1.5), (0.8, 1.5), (0.95, 1.5), (0.6, 2.5)])
def test_villemonte(ratio, exponent):
    # Villemonte (1947): (1 - (H2/H1)^n)^0.385
    sill = SILL if exponent == 1.5 else Sill(10.0, 0.0, "notch", side=1.0)
    free = flow_m3_s(sill, 10.4)
    drowned = flow_m3_s(sill, 10.4, 10.0 + 0.4 * ratio)
    assert drowned / free == pytest.approx((1 - ratio**exponent) ** 0.385)


def test_flow_vanishes_as_levels_meet_and_then_turns_back():
    levels = [10.3 - 1e-3, 10.3, 10.3 + 1e-3]
    flows = [flow_m3_s(SILL, 10.3, tail) for tail in levels]
    assert flows[0] > 0
    assert flows[1] == 0
    assert flows[2] == pytest.approx(-flow_m3_s(SILL, 10.3 + 1e-3, 10.3))


def test_flow_rises_with_the_level_and_falls_with_the_tail():
    levels = np.linspace(9.9, 10.6, 71)
    for tail in (9.0, 10.1, 10.3):
        flows = [flow_m3_s(SILL, float(level), tail) for level in levels]
        assert (np.diff(flows) >= 0).all()
    for level in (10.1, 10.3):
        flows = [flow_m3_s(SILL, level, float(tail)) for tail in levels]
        assert (np.diff(flows) <= 0).all()


def test_discharge_of_several_outlets_adds_up():
    outlets = (SILL, Orifice(9.5, 0.1))
    levels = [9.4, 9.8, 10.2]
    total = discharge_m3_s(outlets, levels)
    assert total == pytest.approx(
        [sum(flow_m3_s(outlet, level) for outlet in outlets) for level in levels]
    )
    assert total[0] == 0.0
    assert (np.diff(total) > 0).all()


def test_speed_over_the_crest():
    assert critical_speed_m_s(0.3) == pytest.approx(math.sqrt(2 / 3 * 9.81 * 0.3))


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Sill(0.0, -1.0), "width"),
        (lambda: Sill(0.0, 0.0), "width"),
        (lambda: Sill(0.0, 1.0, "round"), "broad, sharp or notch"),
        (lambda: Sill(0.0, 1.0, discharge_coefficient=2.0), "Cd"),
        (lambda: width_for_m(1.0, 0.0), "head above 0"),
        (lambda: width_for_m(1.0, 0.2, form="notch"), "notch"),
        (lambda: head_for_m(SILL, 1e9), "does not pass"),
    ],
)
def test_impossible_sills_are_refused(make, says):
    with pytest.raises(ValueError, match=says):
        make()
