"""Soaking in: small cases worked by hand, ponding within a step, and what is refused."""

import math

import numpy as np
import pytest

from brimline.rainfall.infiltration import (
    TEXTURES,
    GreenAmpt,
    design_rate_mm_per_h,
    green_ampt_step,
    soaked_under_rain_mm,
    texture,
)

SILT_LOAM = GreenAmpt(conductivity_mm_per_h=6.5, suction_mm=166.8, deficit=0.34)


@pytest.mark.interpreted
def test_the_soaked_depth_satisfies_the_green_ampt_equation():
    for time_h in (0.01, 0.5, 3.0, 100.0):
        depth = SILT_LOAM.soaked_mm(time_h)
        pull = SILT_LOAM.pull_mm
        assert depth - pull * math.log(1 + depth / pull) == pytest.approx(6.5 * time_h, rel=1e-9)
    assert SILT_LOAM.soaked_mm(0) == 0


@pytest.mark.interpreted
def test_saturated_ground_takes_its_conductivity_and_sealed_ground_nothing():
    saturated = GreenAmpt(6.5, 166.8, 0.0)
    assert saturated.soaked_mm(2) == pytest.approx(13)
    assert GreenAmpt(0.0, 166.8, 0.34).soaked_mm(2) == 0
    assert green_ampt_step(0.0, 50.0, 0.0, 6.5, 1.0) == pytest.approx(6.5)
    assert green_ampt_step(4.0, 50.0, 30.0, 0.0, 1.0) == 4.0


@pytest.mark.interpreted
def test_rain_below_conductivity_never_ponds():
    soaked = soaked_under_rain_mm(np.full(100, 6.0), 3600, SILT_LOAM)
    np.testing.assert_allclose(soaked, 6.0 * np.arange(1, 101))
    assert SILT_LOAM.ponding_time_h(6.5) == math.inf


@pytest.mark.interpreted
def test_ponding_within_a_step_is_found_whatever_the_step():
    # 50 mm/h ponds after 0.17 h: an hour in one step, in 6 and in 600 must agree
    by_steps = [
        soaked_under_rain_mm(np.full(n, 50.0 / n), 3600 / n, SILT_LOAM)[-1] for n in (1, 6, 600)
    ]
    assert by_steps[0] == pytest.approx(by_steps[1], rel=1e-9)
    assert by_steps[0] == pytest.approx(by_steps[2], rel=1e-9)
    # Chow, Maidment & Mays (1988), equation 4.4.5: time counts from the ponding
    at_ponding = 50 * SILT_LOAM.ponding_time_h(50)
    left_h = 1 - SILT_LOAM.ponding_time_h(50)
    pull, depth = SILT_LOAM.pull_mm, by_steps[0]
    gained = depth - at_ponding - pull * math.log((pull + depth) / (pull + at_ponding))
    assert gained == pytest.approx(6.5 * left_h, rel=1e-9)


@pytest.mark.interpreted
def test_dry_spells_soak_nothing_and_the_soil_remembers():
    soaked = soaked_under_rain_mm([20.0, 0.0, 20.0], 1800, SILT_LOAM)
    assert soaked[1] == soaked[0]
    fresh = soaked_under_rain_mm([20.0], 1800, SILT_LOAM)[0]
    assert soaked[2] - soaked[1] < fresh
    later = soaked_under_rain_mm([20.0], 1800, SILT_LOAM, soaked_before_mm=soaked[1])
    assert later[0] == pytest.approx(soaked[2])


@pytest.mark.interpreted
def test_a_step_in_metres_and_seconds_agrees_with_millimetres_and_hours():
    in_mm = green_ampt_step(12.0, 40.0, SILT_LOAM.pull_mm, 6.5, 0.5)
    in_m = green_ampt_step(0.012, 0.04 / 3600, SILT_LOAM.pull_mm / 1000, 0.0065 / 3600, 1800.0)
    assert in_m * 1000 == pytest.approx(in_mm, rel=1e-9)


@pytest.mark.interpreted
def test_tiny_steps_keep_their_precision():
    # a second on soil that has soaked a metre: rate × time
    soil = GreenAmpt(6.5, 166.8, 0.34)
    gain = green_ampt_step(1000.0, 1e4, soil.pull_mm, 6.5, 1 / 3600) - 1000.0
    assert gain == pytest.approx(soil.capacity_mm_per_h(1000.0) / 3600, rel=1e-6)


def test_capacity_falls_to_the_conductivity():
    assert SILT_LOAM.capacity_mm_per_h(1e9) == pytest.approx(6.5)
    with pytest.raises(ValueError, match="soaked_mm must be above 0 mm"):
        SILT_LOAM.capacity_mm_per_h(0)


def test_a_texture_gives_its_deficit_by_effective_saturation():
    soil = GreenAmpt.of_texture("Silt_Loam", effective_saturation=0.30)
    assert soil.deficit == pytest.approx(0.7 * 0.486)
    assert (soil.conductivity_mm_per_h, soil.suction_mm) == (6.5, pytest.approx(166.8))
    with pytest.raises(ValueError, match="no soil texture is named 'silt lome'; did you mean"):
        texture("silt lome")
    with pytest.raises(ValueError, match="effective_saturation must be 0 to 1, got 30"):
        GreenAmpt.of_texture("loam", effective_saturation=30)


@pytest.mark.parametrize("soil", TEXTURES.values(), ids=lambda one: one.name)
def test_textures_are_physical(soil):
    assert 0 < soil.effective_porosity < soil.porosity < 1
    assert soil.suction_mm > 0
    assert soil.conductivity_mm_per_h > 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"conductivity_mm_per_h": -1}, "conductivity_mm_per_h must not be below 0 mm/h"),
        ({"suction_mm": float("inf")}, "suction_mm must not be below 0 mm, got inf mm"),
        ({"deficit": 1.5}, r"deficit must be 0 to 1, got 1\.5"),
    ],
)
def test_soils_that_make_no_sense_are_refused(change, message):
    right = {"conductivity_mm_per_h": 6.5, "suction_mm": 166.8, "deficit": 0.34}
    with pytest.raises(ValueError, match=message):
        GreenAmpt(**(right | change))


def test_rain_that_makes_no_sense_is_refused():
    with pytest.raises(ValueError, match="depth_mm must not be below 0 mm"):
        soaked_under_rain_mm([1, -1], 60, SILT_LOAM)
    with pytest.raises(ValueError, match="step_s must be above 0 s"):
        soaked_under_rain_mm([1], 0, SILT_LOAM)
    with pytest.raises(ValueError, match="soaked_before_mm must not be below 0 mm"):
        soaked_under_rain_mm([1], 60, SILT_LOAM, soaked_before_mm=-1)
    with pytest.raises(ValueError, match="rain_mm_per_h must be above 0 mm/h"):
        SILT_LOAM.ponding_time_h(0)


def test_design_rate_is_the_tested_rate_over_the_safety_factor():
    assert design_rate_mm_per_h(36, safety_factor=3) == 12
    assert design_rate_mm_per_h(36) == 18
    with pytest.raises(ValueError, match=r"safety_factor must be 1 or more, got 0\.5"):
        design_rate_mm_per_h(36, safety_factor=0.5)
