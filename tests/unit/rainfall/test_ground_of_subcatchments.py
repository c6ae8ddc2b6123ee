"""Covers and soils counted per subcatchment, on grids small enough to count by hand."""

import numpy as np
import pytest

from brimline.errors import GridError
from brimline.rainfall import (
    DepthTable,
    GroundClass,
    design_rain,
    ground_of,
    runoff_depth_mm,
)

CLASSES = (GroundClass("pasture", "good"), GroundClass("roof"), GroundClass("woods"))
LABELS = np.array([[7, 7, 0, 3], [7, 7, 3, 3]], dtype=np.int32)
COVERS = np.array([[1, 1, 2, 3], [2, 0, 1, 3]], dtype=np.uint8)
SOILS = np.array([[2, 3, 1, 4], [1, 4, 0, 4]], dtype=np.int16)


@pytest.fixture
def ground():
    return ground_of(LABELS, COVERS, SOILS, CLASSES, cell_area_m2=25.0)


def test_areas_by_class_and_soil_and_what_is_not_known(ground):
    assert ground.labels.tolist() == [3, 7]
    assert ground.class_area_m2.tolist() == [[0, 0, 50], [50, 25, 0]]
    assert ground.area_m2[1, 0].tolist() == [0, 25, 25, 0]
    assert ground.unknown_m2.tolist() == [25, 25]  # no soil at one cell, no cover at the other
    assert ground.total_m2.tolist() == [75, 100]


def test_composite_curve_number_and_impervious_share_leave_out_the_unknown(ground):
    # label 3: woods (fair) on D alone; label 7: pasture good on B and C, and a roof
    assert ground.composite_curve_number == pytest.approx([79, (61 + 74 + 98) / 3])
    assert ground.impervious_pct == pytest.approx([0, 100 / 3])


def test_values_by_class_are_weighted_for_coefficients(ground):
    assert ground.weighted([0.3, 0.9, 0.2]) == pytest.approx([0.2, (2 * 0.3 + 0.9) / 3])
    with pytest.raises(ValueError, match=r"values must have shape \(3,\) or \(3, 4\), .* \(2,\)"):
        ground.weighted([0.3, 0.9])
    with pytest.raises(ValueError, match=r"values must have shape .* got \(3, 3\)"):
        ground.weighted(np.ones((3, 3)))


def test_runoff_is_weighted_class_by_class(ground):
    by_hand = np.mean([runoff_depth_mm(60.0, number) for number in (61, 74, 98)])
    assert ground.runoff_mm(60.0)[1] == pytest.approx(by_hand)
    mixed = ground.mixed(7)
    assert mixed.curve_numbers == (61, 74, 98)
    assert mixed.areas_m2 == pytest.approx([ground.total_m2[1] / 3] * 3)
    assert mixed.excess_mm([20.0, 40.0]).sum() == pytest.approx(by_hand)
    for label in (5, 8):
        with pytest.raises(KeyError):
            ground.mixed(label)


def test_classes_that_share_a_curve_number_are_taken_together():
    classes = (GroundClass("roof"), GroundClass("paving"))
    ground = ground_of(
        np.ones((1, 2), np.int32), np.array([[1, 2]]), np.array([[1, 4]]), classes, cell_area_m2=1.0
    )
    mixed = ground.mixed(1)
    assert (mixed.curve_numbers, mixed.areas_m2) == ((98,), (2,))
    assert ground.impervious_pct.tolist() == [100]


def test_a_subcatchment_of_which_nothing_is_known_has_no_number():
    ground = ground_of(
        np.full((2, 2), 4, np.int32),
        np.zeros((2, 2), np.uint8),
        np.ones((2, 2), np.uint8),
        CLASSES,
        cell_area_m2=4.0,
    )
    assert np.isnan(ground.composite_curve_number).all()
    assert np.isnan(ground.runoff_mm(50.0)).all()
    assert ground.unknown_m2.tolist() == [16]
    assert ground.mixed(4) is None


def test_without_labels_there_is_no_ground():
    ground = ground_of(np.zeros_like(LABELS), COVERS, SOILS, CLASSES, cell_area_m2=1.0)
    assert ground.labels.size == 0
    assert ground.composite_curve_number.size == 0


def test_counting_in_blocks_of_rows_counts_the_same(monkeypatch, ground):
    monkeypatch.setattr("brimline.rainfall.ground._CELLS_AT_ONCE", 4)
    again = ground_of(LABELS, COVERS, SOILS, CLASSES, cell_area_m2=25.0)
    np.testing.assert_array_equal(again.area_m2, ground.area_m2)
    np.testing.assert_array_equal(again.unknown_m2, ground.unknown_m2)


def test_ground_is_counted_right_on_a_random_grid():
    rng = np.random.default_rng(5)
    labels = rng.integers(0, 40, (60, 50)).astype(np.int32) * 3
    covers, soils = rng.integers(0, 4, (60, 50)), rng.integers(0, 5, (60, 50))
    ground = ground_of(labels, covers, soils, CLASSES, cell_area_m2=2.0)
    for place, label in enumerate(ground.labels):
        for kind in range(3):
            for soil in range(4):
                cells = (labels == label) & (covers == kind + 1) & (soils == soil + 1)
                assert ground.area_m2[place, kind, soil] == 2 * cells.sum()
    assert ground.total_m2.sum() == 2 * (labels > 0).sum()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"cover_codes": COVERS + np.uint8(2)}, "cover_codes must be 0 to 3, got 5"),
        ({"soil_codes": SOILS - np.int16(1)}, "soil_codes must be 0 to 4, got -1"),
        ({"labels": -LABELS}, "labels must be 0 to 2147483647, got -7"),
        ({"cover_codes": COVERS.astype(float)}, "cover_codes must hold integers, got float64"),
        ({"soil_codes": SOILS[:1]}, "must be 2-D and share one shape"),
    ],
)
def test_grids_that_break_the_contract_are_refused(change, message):
    grids = {"labels": LABELS, "cover_codes": COVERS, "soil_codes": SOILS} | change
    with pytest.raises(GridError, match=message):
        ground_of(**grids, classes=CLASSES, cell_area_m2=1.0)


def test_classes_and_cell_area_are_checked():
    with pytest.raises(ValueError, match="classes must list at least one class"):
        ground_of(LABELS, COVERS, SOILS, (), cell_area_m2=1.0)
    with pytest.raises(ValueError, match="cell_area_m2 must be above 0 m²"):
        ground_of(LABELS, COVERS, SOILS, CLASSES, cell_area_m2=0.0)
    with pytest.raises(ValueError, match="no ground cover is named 'moor'"):
        GroundClass("moor")
    with pytest.raises(ValueError, match="no condition of 'woods' is named 'fine'"):
        GroundClass("woods", "fine")


def test_design_rain_is_the_tables_depth_raised_and_what_runs_off_of_it():
    table = DepthTable([1, 24], [2, 10], [[20, 30], [60, 90]])
    rain = design_rain(
        table, return_period_y=10, duration_h=24, curve_number=74, climate_uplift=1.2
    )
    assert rain.depth_mm == pytest.approx(108)
    assert rain.runoff_mm == pytest.approx(runoff_depth_mm(108.0, 74))
    assert rain.runoff_share == pytest.approx(rain.runoff_mm / 108)
    with pytest.raises(ValueError, match="climate_uplift must be above 0"):
        design_rain(table, return_period_y=10, duration_h=24, curve_number=74, climate_uplift=0)
    with pytest.raises(ValueError, match="return period 25 years is outside"):
        design_rain(table, return_period_y=25, duration_h=24, curve_number=74)
