"""Sections against closed forms (Chow 1959, table 2-1; values from memory) and by hand."""

import math

import numpy as np
import pytest

from brimline.elements import Mound, Parabola, Trapezoid, vee
from brimline.elements.profile import Profile, cut_across, polygon_area_m2, steepness
from brimline.elements.section import hydraulic_radius_m


def test_trapezoid_of_chow_example_6_2():
    # Chow (1959), Example 6-2 (value from memory): b 20 ft, z 2, y 3.36 ft
    section = Trapezoid(20.0, 2.0)
    assert section.area_m2(3.36) == pytest.approx((20 + 2 * 3.36) * 3.36)
    assert section.wetted_perimeter_m(3.36) == pytest.approx(20 + 2 * 3.36 * math.sqrt(5))
    assert section.top_width_m(3.36) == pytest.approx(20 + 4 * 3.36)


def test_sides_may_differ():
    section = Trapezoid(1.0, 2.0, 4.0)
    assert section.area_m2(0.5) == pytest.approx(0.5 + 3.0 * 0.25)
    assert section.top_width_m(0.5) == pytest.approx(1.0 + 6.0 * 0.5)


def test_vee_is_z_y_squared():
    assert vee(3.0).area_m2(0.4) == pytest.approx(3.0 * 0.16)


def test_parabola_holds_two_thirds_of_its_box():
    section = Parabola(3.0, 0.6)
    assert section.area_m2(0.6) == pytest.approx(2 / 3 * 3.0 * 0.6)
    assert section.top_width_m(0.15) == pytest.approx(1.5)  # width goes with the root of depth


def test_parabola_arc_against_a_fine_polyline():
    section = Parabola(3.0, 0.6)
    x = np.linspace(-1.5, 1.5, 200_001)
    y = 0.6 * (x / 1.5) ** 2
    arc = np.hypot(np.diff(x), np.diff(y)).sum()
    assert section.wetted_perimeter_m(0.6) == pytest.approx(arc, rel=1e-9)
    assert section.wetted_perimeter_m(0.0) == 0.0


def test_hydraulic_radius():
    assert hydraulic_radius_m(Trapezoid(2.0, 0.0), 1.0) == pytest.approx(2.0 / 4.0)
    assert hydraulic_radius_m(vee(1.0), 0.0) == 0.0


@pytest.mark.parametrize("make", [lambda: Trapezoid(0.0, 0.0), lambda: Parabola(0.0, 1.0)])
def test_sections_without_width_are_refused(make):
    with pytest.raises(ValueError, match="needs"):
        make()


def test_profile_areas_of_a_trapezoid_are_exact():
    # bottom 1 m, depth 0.5 m, sides 2:1 below and 1:1 above
    profile = Profile(np.array([0.0, 1.0, 2.0, 2.5]), np.array([0.0, -0.5, -0.5, 0.0]))
    assert profile.area_m2(0.0) == pytest.approx((1.0 + 2.5) / 2 * 0.5)
    assert profile.area_m2(-0.25) == pytest.approx(1.0 * 0.25 + 0.5 * 3.0 * 0.25**2)
    assert profile.width_m(-0.25) == pytest.approx(1.0 + 3.0 * 0.25)
    assert profile.wetted_m(0.0) == pytest.approx(math.hypot(1, 0.5) + 1.0 + math.hypot(0.5, 0.5))
    assert profile.floor_width_m == pytest.approx(1.0)


def test_upper_bank_meets_the_ground_by_hand():
    # from 0.5 m below the lip and 2 m up the slope, a 1:1 bank meets 10 % ground where
    # -0.5 + x = 0.1 (2 + x): x = 0.7 / 0.9
    across, rise = cut_across(np.array([0.0, 1.0, 2.0]), np.array([0.0, -0.5, -0.5]), 1.0, 0.1)
    assert across[-1] == pytest.approx(2.0 + 0.7 / 0.9)
    assert rise[-1] == pytest.approx(0.1 * across[-1])


def test_bank_flatter_than_the_ground_is_refused():
    with pytest.raises(ValueError, match="never meets"):
        cut_across(np.array([0.0, 1.0]), np.array([0.0, -0.5]), 4.0, 0.25)


def test_mound_on_level_ground_is_a_trapezoid():
    mound = Mound(0.4, 2.0, 1.5)
    height = 0.3
    assert mound.area_m2(height, 0.0) == pytest.approx((0.4 + 0.4 + 3.5 * height) / 2 * height)


def test_mound_on_a_slope_by_hand():
    # slope 10 %, crest 0.2 m high and 0.3 m wide, batters 2:1: the toe lies at
    # (0.4 + 0.3 + 0.4)/(1 - 0.2) = 1.375 m, 0.1375 m under the lip
    area = polygon_area_m2([0, 0.4, 0.7, 1.375], [0, 0.2, 0.2, -0.1375])
    assert Mound().area_m2(0.2, 0.10) == pytest.approx(area)
    assert area == pytest.approx(0.43125 / 2)  # shoelace by hand


def test_a_mound_flatter_than_the_ground_is_refused():
    with pytest.raises(ValueError, match=r"batter of 2\.0 to 1 never meets ground of 50\.0 %"):
        Mound().area_m2(0.2, 0.5)


def test_mound_height_inverts_its_area():
    mound = Mound(0.3, 2.0, 2.5)
    for height in (0.05, 0.3, 0.9):
        assert mound.height_m(mound.area_m2(height, 0.12), 0.12) == pytest.approx(height, abs=1e-9)
    assert mound.height_m(0.0, 0.12) == 0.0


@pytest.mark.parametrize("slope_pct", [-1.0, math.nan])
def test_slopes_below_zero_are_refused(slope_pct):
    with pytest.raises(ValueError, match="slope"):
        steepness(slope_pct)


def test_the_bank_goes_on_from_the_last_corner():
    # the floor rises to 0.3 m below the lip: -0.3 + x = 0.1 (2 + x): x = 0.5 / 0.9
    across, rise = cut_across(np.array([0.0, 1.0, 2.0]), np.array([0.0, -0.5, -0.3]), 1.0, 0.1)
    assert across[-1] == pytest.approx(2.0 + 0.5 / 0.9)
    assert rise[-1] == pytest.approx(0.1 * across[-1])
