"""Runoff of days by the water in the soil that morning."""

import numpy as np
import pytest

from brimline.balance.wetness import (
    WettingSoil,
    daily_runoff_mm,
    retention_by_wetness,
    shed_mm,
)
from brimline.rainfall import MixedGround, antecedent_curve_number, retention_mm, runoff_depth_mm

SOIL = WettingSoil(150.0, 180.0)


def retention(curve_number, water_mm, soil=SOIL):
    dry, w1, w2 = retention_by_wetness(curve_number, soil)
    return dry * (1 - water_mm / (water_mm + np.exp(w1 - w2 * water_mm)))


@pytest.mark.parametrize("number", [35, 58, 74, 90, 96])
def test_retention_goes_through_the_three_points_that_it_is_fitted_to(number):
    # Neitsch et al. (2011), SWAT theoretical documentation, section 2:1.1: condition I at the
    # wilting point, III at field capacity, curve number 99 (2.54 mm) at saturation
    dry, wet = (retention_mm(antecedent_curve_number(number, c)) for c in ("dry", "wet"))
    assert retention(number, 0.0) == pytest.approx(dry)
    assert retention(number, 150.0) == pytest.approx(wet)
    assert retention(number, 330.0) == pytest.approx(2.54)
    falling = retention(number, np.linspace(0, 330, 50))
    assert (np.diff(falling) < 0).all()


def test_table_10_1_is_met_at_both_ends():
    # NEH 630, table 10-1 (values from memory): 60 is 40 dry and 78 wet, 80 is 63 and 91
    for number, dry, wet in ((60, 40, 78), (80, 63, 91)):
        for water, expected in ((0.0, dry), (150.0, wet)):
            found = 25400 / (retention(number, water) + 254)
            assert found == pytest.approx(expected, abs=2)


def test_a_first_and_a_second_storm_by_hand():
    # 100 days without rain dry the soil, a storm wets it, and the next day's sheds more. Two parts
    # of a soil of 150 mm, worked day by day in plain Python.
    rain = np.zeros(730)
    rain[600:602] = 60.0
    drunk = np.full(730, 5.0)
    found = daily_runoff_mm(rain, drunk, np.array([74.0]), SOIL)[0]
    water = 150.0
    expected = []
    for wet, thirst in zip(np.concatenate([rain[:365], rain]), np.full(1095, 5.0), strict=True):
        s = retention(74.0, water)
        shed = (wet - 0.2 * s) ** 2 / (wet + 0.8 * s) if wet > 0.2 * s else 0.0
        stress = min(water / 75.0, 1.0)
        expected.append(shed)
        water = min(max(water + wet - shed - stress * thirst, 0.0), 150.0)
    np.testing.assert_allclose(found, expected[365:], atol=1e-9)
    assert 0 < found[600] < runoff_depth_mm(60.0, 74.0)  # drier than average
    assert found[601] > 2 * found[600]
    dry = runoff_depth_mm(60.0, antecedent_curve_number(74.0, "dry"))
    assert found[600] == pytest.approx(dry, abs=0.05)


def test_ground_that_never_dries_sheds_as_wet_ground():
    rain = np.full(400, 40.0)
    found = daily_runoff_mm(rain, np.zeros(400), np.array([70.0]), SOIL)[0]
    wet = runoff_depth_mm(40.0, antecedent_curve_number(70.0, "wet"))
    np.testing.assert_allclose(found, wet)


def test_sealed_ground_sheds_alike_wet_or_dry_and_each_part_for_itself():
    rain = np.where(np.arange(800) % 9 == 0, 25.0, 0.0)
    drunk = np.full(800, 3.0)
    ground = MixedGround((58.0, 98.0, 100.0), (6.0, 3.0, 1.0))
    parts = daily_runoff_mm(rain, drunk, np.array(ground.curve_numbers), SOIL)
    np.testing.assert_allclose(parts[1], runoff_depth_mm(rain, 98.0))
    np.testing.assert_allclose(parts[2], rain)
    np.testing.assert_allclose(
        shed_mm(ground, rain, drunk, SOIL), 0.6 * parts[0] + 0.3 * parts[1] + 0.1 * parts[2]
    )
    average = shed_mm(ground, rain, drunk, None)
    np.testing.assert_allclose(
        average, 0.6 * runoff_depth_mm(rain, 58.0) + 0.3 * runoff_depth_mm(rain, 98.0) + 0.1 * rain
    )


def test_runoff_never_exceeds_the_rain():
    rng = np.random.default_rng(3)
    rain = np.where(rng.random(2000) < 0.3, rng.gamma(0.7, 12, 2000), 0.0)
    found = daily_runoff_mm(rain, rng.uniform(0, 6, 2000), np.array([30.0, 77, 96, 99]), SOIL)
    assert (found >= 0).all()
    assert (found <= rain).all()


def test_soils_are_of_their_textures():
    # loam: 0.155 available (FAO-56, table 19), porosity 0.463 (Rawls et al. 1983) less 0.25
    soil = WettingSoil.of({"loam": 1.0}, 1.0)
    assert soil.available_mm == pytest.approx(155)
    assert soil.drainable_mm == pytest.approx(213)
    half = WettingSoil.of({"loam": 0.5, "silt": 0.5}, 1.0)
    assert half.available_mm == pytest.approx((155 + 180) / 2)
    assert WettingSoil(0.5, 0.5).available_mm == 0.5  # as thin as a roof's moss
    with pytest.raises(ValueError, match="drainable_mm must be above 0 mm"):
        WettingSoil(100.0, 0.0)
