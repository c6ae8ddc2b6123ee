"""Runoff by the NRCS relation and the rational method, worked by hand."""

import numpy as np
import pytest

from brimline.rainfall import (
    MixedGround,
    composite_curve_number,
    excess_mm,
    rational_peak_m3_s,
    retention_mm,
    runoff_depth_mm,
)
from brimline.units import INCH_MM


def test_retention_and_runoff_of_a_round_number():
    # CN 50: S = 254 mm, Ia = 50.8 mm; P 254 mm: (254 - 50.8)² / (254 + 203.2) = 90.311 mm
    assert retention_mm(50) == pytest.approx(254)
    assert runoff_depth_mm(254, 50) == pytest.approx(203.2**2 / 457.2)


def test_nothing_runs_off_before_the_initial_abstraction():
    assert runoff_depth_mm(50.8, 50) == 0
    assert runoff_depth_mm(50.9, 50) > 0
    assert runoff_depth_mm(0, 50) == 0


def test_all_runs_off_at_curve_number_100_even_without_rain():
    assert runoff_depth_mm(31.0, 100) == pytest.approx(31.0)
    assert runoff_depth_mm(0.0, 100) == 0.0


def test_another_abstraction_ratio():
    # ratio 0.05, CN 50: Ia = 12.7 mm; P 100: 87.3² / (87.3 + 254)
    assert runoff_depth_mm(100, 50, abstraction_ratio=0.05) == pytest.approx(87.3**2 / 341.3)
    assert runoff_depth_mm(100, 50, abstraction_ratio=0.0) == pytest.approx(100**2 / 354)


def test_arrays_go_through_in_their_shape():
    rain = np.array([[0.0, 100.0], [200.0, 300.0]])
    found = runoff_depth_mm(rain, np.array([50.0, 80.0]))
    assert found.shape == (2, 2)
    assert found[1, 1] == runoff_depth_mm(300.0, 80.0)
    assert retention_mm(np.array([50.0, 100.0])).tolist() == [254.0, 0.0]


@pytest.mark.parametrize(
    ("rain", "number", "ratio", "message"),
    [
        (-1, 70, 0.2, "rain_mm must be finite and not below 0 mm, got -1"),
        (float("nan"), 70, 0.2, "rain_mm must be finite"),
        (10, 0, 0.2, "curve number must be above 0 and at most 100, got 0"),
        (10, 101, 0.2, "at most 100, got 101"),
        (10, 70, 1.2, r"abstraction_ratio must be 0 to 1, got 1\.2"),
    ],
)
def test_values_outside_their_range_are_refused(rain, number, ratio, message):
    with pytest.raises(ValueError, match=message):
        runoff_depth_mm(rain, number, abstraction_ratio=ratio)


def test_weighting_the_runoff_sees_the_roofs_that_a_composite_number_hides():
    ground = MixedGround((98, 39), (1_000.0, 9_000.0))
    by_runoff = ground.excess_mm([30.0]).sum()
    assert by_runoff == pytest.approx(runoff_depth_mm(30.0, 98) / 10)  # the pasture sheds nothing
    assert ground.curve_number == composite_curve_number(ground.curve_numbers, ground.areas_m2)
    assert runoff_depth_mm(30.0, ground.curve_number) == 0.0


@pytest.mark.parametrize(
    ("rain_in", "by_number_in", "by_runoff_in"),
    [(2, 0.241, 0.560), (4, 1.330, 1.595), (6, 2.805, 2.958)],
)
def test_runoff_of_mixed_cover(rain_in, by_number_in, by_runoff_in):
    # 30 % of CN 98 and 70 % of CN 58, mean 70: TR-55's relation worked by hand in inches
    ground = MixedGround((98, 58), (30.0, 70.0))
    assert ground.curve_number == pytest.approx(70)
    by_number = runoff_depth_mm(rain_in * INCH_MM, ground.curve_number)
    assert by_number / INCH_MM == pytest.approx(by_number_in, abs=5e-4)
    by_runoff = ground.excess_mm([rain_in * INCH_MM]).sum()
    assert by_runoff / INCH_MM == pytest.approx(by_runoff_in, abs=5e-4)


def test_ground_of_one_number_sheds_as_that_number():
    rain = [5.0, 20.0, 12.0]
    np.testing.assert_allclose(MixedGround((75,), (3.0,)).excess_mm(rain), excess_mm(rain, 75))
    with pytest.raises(ValueError, match="2 curve numbers need as many areas"):
        MixedGround((75, 80), (3.0,))


def test_storms_outside_the_relation_are_told():
    meadow = MixedGround((58,), (1.0,))  # S = 183.9 mm, Ia = 36.8 mm
    assert "below the initial abstraction of 37 mm" in meadow.doubts(30.0)[0]
    assert "below the 12.7 mm" in meadow.doubts(60.0)[0]
    assert meadow.doubts(120.0) == ()
    sand = MixedGround((30,), (1.0,))
    assert "below 40" in sand.doubts(300.0)[0]


def test_rational_peak_in_other_units():
    # 1 mm/h on 1 m² of sealed ground is 1 L/h
    assert rational_peak_m3_s(1.0, 1.0, 1.0) == pytest.approx(1e-3 / 3600)
    with pytest.raises(ValueError, match="runoff coefficient must be 0 to 1, got 2"):
        rational_peak_m3_s(2, 1, 1)
    with pytest.raises(ValueError, match="intensity_mm_per_h must not be below 0 mm/h"):
        rational_peak_m3_s(0.5, -1, 1)
