"""Hydrographs as values, and those made from storms, roofs, and peaks with volumes."""

import numpy as np
import pytest

from brimline.rainfall import (
    Hydrograph,
    Storm,
    hydrograph,
    peak_and_volume,
    roof_hydrograph,
    route_excess,
    runoff_depth_mm,
    sum_hydrographs,
    unit_hydrograph,
)

TENT = Hydrograph([0, 600, 1200], [0, 2, 0])
BLOCK = Hydrograph([300, 900], [1, 1])  # jumps from and to 0


def test_peak_time_and_volume_of_a_tent():
    assert TENT.peak_m3_s == 2
    assert TENT.peak_time_s == 600
    assert TENT.volume_m3 == 1200


def test_flow_is_straight_between_points_and_nothing_outside():
    assert TENT.at([-5, 0, 150, 600, 1100, 1200, 2000]) == pytest.approx(
        [0, 0, 0.5, 2, 1 / 3, 0, 0]
    )
    assert BLOCK.at([299, 300, 600, 899, 900]).tolist() == [0, 1, 1, 1, 0]


def test_volume_that_has_passed_is_exact_between_points():
    # in the rising half the volume is t² / 600
    assert TENT.volume_before_m3([-1, 0, 300, 600, 900, 1200, 9999]) == pytest.approx(
        [0, 0, 150, 600, 1050, 1200, 1200]
    )


def test_means_over_any_steps_keep_the_volume():
    edges = np.array([-100.0, 50, 333, 700, 1201, 1500])
    assert TENT.mean_flow_m3_s(edges) @ np.diff(edges) == pytest.approx(1200)
    assert BLOCK.mean_flow_m3_s([0, 600, 1200]).tolist() == [0.5, 0.5]
    with pytest.raises(ValueError, match="edges_s must rise"):
        TENT.mean_flow_m3_s([0, 0, 1])


def test_a_sum_keeps_every_point_and_jump():
    total = sum_hydrographs([TENT, BLOCK])
    assert total.time_s.tolist() == [0, 300, 300, 600, 900, 900, 1200]
    assert total.flow_m3_s.tolist() == [0, 1, 2, 3, 2, 1, 0]
    assert total.volume_m3 == 1800
    again = sum_hydrographs([total, TENT])  # jumps add up too
    assert again.volume_m3 == 3000
    assert again.at([300, 899.999]) == pytest.approx([3, 3], abs=1e-4)


def test_the_sum_of_blocks_that_meet_is_one_block():
    total = sum_hydrographs([BLOCK, Hydrograph([900, 1500], [1, 1])])
    assert total.at([300, 600, 900, 1200, 1500]).tolist() == [1, 1, 1, 1, 0]
    assert total.volume_m3 == 1200


@pytest.mark.parametrize(
    ("time", "flow", "message"),
    [
        ([0, 1], [0, 1, 0], "2 times do not go with 3 flows"),
        ([0, 2, 1], [0, 1, 0], "time_s must be finite and never fall"),
        ([0, 1], [0, -1], "flow_m3_s must not be below 0 m³/s, got -1.0 m³/s at place 2"),
        ([0], [0], "list of 2 or more values"),
    ],
)
def test_hydrographs_that_make_no_sense_are_refused(time, flow, message):
    with pytest.raises(ValueError, match=message):
        Hydrograph(time, flow)


def test_nothing_to_add_up_is_refused():
    with pytest.raises(ValueError, match="no hydrograph"):
        sum_hydrographs([])


def test_unit_hydrograph_of_a_triangle_worked_by_hand():
    # with a step of 600 s and a lag of 0.6 × 0.25 h = 540 s, Tp is 840 s and the base 2240 s
    shares = unit_hydrograph(0.25, 600, shape="triangular")
    ordinates = np.array([0, 600 / 840, 1040 / 1400, 440 / 1400, 0])
    np.testing.assert_allclose(shares, ordinates / ordinates.sum())


def test_without_a_time_of_concentration_a_step_flows_at_its_end():
    assert unit_hydrograph(0, 60).tolist() == [0, 1]
    flow = route_excess([3.0, 0.0, 6.0], 60, 1000.0, concentration_h=0)
    assert flow.time_s.tolist() == [0, 60, 120, 180, 240]
    assert flow.flow_m3_s == pytest.approx([0, 0.05, 0, 0.1, 0])


def test_long_steps_are_divided_to_meet_the_peak():
    # lag 360 s: a step of 1800 s is far above a quarter of the time to peak
    coarse = route_excess([10.0], 1800, 50_000.0, concentration_h=1 / 6)
    fine = route_excess(np.full(30, 10 / 30), 60, 50_000.0, concentration_h=1 / 6)
    assert np.diff(coarse.time_s)[0] < 200
    assert coarse.volume_m3 == pytest.approx(fine.volume_m3)
    assert coarse.peak_m3_s == pytest.approx(fine.peak_m3_s, rel=0.02)


def test_hydrograph_of_a_storm_by_curve_number_and_by_coefficient():
    storm = Storm("burst", 300.0, [5, 20, 30, 10])
    by_number = hydrograph(storm, 20_000, concentration_h=0.3, curve_number=80)
    assert by_number.volume_m3 == pytest.approx(20_000 * runoff_depth_mm(65, 80) / 1000)
    by_coefficient = hydrograph(storm, 20_000, concentration_h=0.3, runoff_coefficient=0.4)
    assert by_coefficient.volume_m3 == pytest.approx(20_000 * 0.4 * 65 / 1000)
    assert by_number.flow_m3_s[0] == by_number.flow_m3_s[-1] == 0
    with pytest.raises(ValueError, match="give either curve_number or runoff_coefficient"):
        hydrograph(storm, 20_000, concentration_h=0.3)
    with pytest.raises(ValueError, match="give either"):
        hydrograph(storm, 1, concentration_h=0, curve_number=80, runoff_coefficient=0.4)
    with pytest.raises(ValueError, match=r"runoff_coefficient must be 0 to 1, got 1\.4"):
        hydrograph(storm, 1, concentration_h=0, runoff_coefficient=1.4)


def test_a_roof_loses_its_share_and_its_first_flush():
    # 1 mm on 1 m² is 1 L: 100 m², 0.9, rain 0.5 + 2 + 1 mm, flush 0.8 mm
    storm = Storm("shower", 60.0, [0.5, 2.0, 1.0])
    roof = roof_hydrograph(storm, 100.0, coefficient=0.9, first_flush_mm=0.8)
    assert roof.volume_m3 == pytest.approx(100 * (0.9 * 3.5 - 0.8) / 1000)
    kept = np.array([0, 0.9 * 2.5 - 0.8, 0.9])
    assert roof.flow_m3_s[1:4] == pytest.approx(kept * 100 / 1000 / 60)
    assert roof_hydrograph(storm, 100.0, first_flush_mm=9.0).volume_m3 == 0
    with pytest.raises(ValueError, match="first_flush_mm must not be below 0 mm"):
        roof_hydrograph(storm, 100.0, first_flush_mm=-1)


@pytest.mark.parametrize("shape", ["triangular", "curvilinear", "gamma"])
def test_peak_and_volume_are_met_exactly(shape):
    given = peak_and_volume(0.35, 420.0, shape=shape, start_s=1800)
    assert given.peak_m3_s == pytest.approx(0.35, rel=1e-12)
    assert given.volume_m3 == pytest.approx(420.0, rel=1e-12)
    assert given.time_s[0] == 1800
    assert given.flow_m3_s[0] == given.flow_m3_s[-1] == 0


def test_triangle_rises_in_three_eighths_of_its_base():
    given = peak_and_volume(0.5, 600.0)
    assert given.time_s == pytest.approx([0, 900, 2400])  # base = 2 V / Q
    with pytest.raises(ValueError, match="peak_m3_s must be above 0 m³/s"):
        peak_and_volume(0, 1)
    with pytest.raises(ValueError, match="no hydrograph shape is named 'square'"):
        peak_and_volume(1, 1, shape="square")
