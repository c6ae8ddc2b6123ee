"""Depth-duration-frequency tables and the storms made from them."""

import numpy as np
import pytest

from brimline.rainfall import (
    DepthTable,
    Storm,
    StormRequest,
    alternating_block,
    design_storm,
    design_storms,
    nrcs_24h,
    observed,
    uniform,
)

TABLE = DepthTable(
    durations_h=[0.25, 1, 6, 24],
    return_periods_y=[2, 10, 100],
    depths_mm=[[12, 19, 28], [20, 32, 48], [34, 54, 82], [50, 80, 120]],
)


def test_tabulated_depths_come_back():
    for row, duration in enumerate(TABLE.durations_h):
        for col, period in enumerate(TABLE.return_periods_y):
            found = TABLE.depth_mm(float(duration), float(period))
            assert found == pytest.approx(TABLE.depths_mm[row, col])


def test_duration_is_interpolated_log_log():
    # halfway in log duration between 1 and 6 h: the geometric mean of the depths
    assert TABLE.depth_mm(6**0.5, 10) == pytest.approx((32 * 54) ** 0.5)


def test_return_period_is_exact_for_a_gumbel_distribution():
    # annual maxima with mode 40 mm and scale 11 mm: x(T) = 40 + 11 y(T), y = -ln(-ln(1 - 1/T))
    def depth(period_y):
        return 40 - 11 * np.log(-np.log(1 - 1 / period_y))

    periods = np.array([2.0, 50.0])
    table = DepthTable([24.0], periods, [depth(periods)])
    for period_y in (5.0, 10.0, 37.0):
        assert table.depth_mm(24, period_y) == pytest.approx(depth(period_y))


def test_log_scale_serves_partial_series_from_one_year_down():
    table = DepthTable([1.0], [0.5, 1, 100], [[10, 14, 50]], scale="log")
    assert table.depth_mm(1, 10) == pytest.approx((14 + 50) / 2)
    assert table.depth_mm(1, 0.5) == pytest.approx(10)


@pytest.mark.parametrize(
    ("duration", "period", "message"),
    [
        (48, 10, "duration 48 h is outside .* table, 0.25 to 24 h; it is not extrapolated"),
        (0.1, 10, "duration 0.1 h is outside"),
        (1, 500, "return period 500 years is outside .* table, 2 to 100 years"),
        (1, 1, "return period 1 years is outside"),
    ],
)
def test_nothing_is_extrapolated(duration, period, message):
    with pytest.raises(ValueError, match=message):
        TABLE.depth_mm(duration, period)
    with pytest.raises(ValueError, match=message):
        TABLE.curve(period)(np.array([duration]))


def test_rounding_at_the_edge_of_the_table_is_let_pass():
    table = DepthTable([0.1, 0.3], [2, 10], [[5, 6], [7, 9]])
    assert table.depth_mm(0.1 + 0.2, 10) == pytest.approx(9)


@pytest.mark.parametrize(
    ("durations", "periods", "depths", "message"),
    [
        ([1, 1], [2, 10], [[1, 2], [3, 4]], "durations_h must rise .* got 1 then 1 h"),
        ([0, 1], [2, 10], [[1, 2], [3, 4]], "durations_h must rise .* got 0 then 0 h"),
        ([1, 2], [1, 10], [[1, 2], [3, 4]], "above 1 year on the gumbel scale, got 1 years"),
        ([1, 2], [10, 2], [[1, 2], [3, 4]], "return_periods_y must rise"),
        ([1, 2], [2, 10], [[1, 2, 3], [3, 4, 5]], r"got shape \(2, 3\)"),
        ([1, 2], [2, 10], [[1, 2], [0, 4]], "above 0 mm, got 0 mm for 2 h and 2 years"),
        ([1, 2], [2, 10], [[5, 6], [3, 7]], "falls with a longer duration at 2 h and 2 years"),
        ([1, 2], [2, 10], [[5, 4], [6, 7]], "falls with a longer return period at 1 h and 10"),
    ],
)
def test_tables_that_make_no_sense_are_refused(durations, periods, depths, message):
    with pytest.raises(ValueError, match=message):
        DepthTable(durations, periods, depths)


def test_a_table_keeps_its_own_copy():
    depths = np.array([[10.0, 20.0]])
    table = DepthTable([1.0], [2, 10], depths)
    depths[:] = 0
    assert table.depth_mm(1, 10) == pytest.approx(20)
    with pytest.raises(ValueError, match="read-only"):
        table.depths_mm[0, 0] = 1.0


def test_alternating_blocks_worked_by_hand():
    # depths 10, 16, 20, 23, 25 mm for 1 to 5 h: increments 10, 6, 4, 3, 2 around the middle block
    depths = {1.0: 10, 2.0: 16, 3.0: 20, 4.0: 23, 5.0: 25}
    rain = alternating_block(lambda h: np.array([depths[float(one)] for one in h]), 5, step_s=3600)
    assert rain.tolist() == [2, 4, 10, 6, 3]


@pytest.mark.parametrize(
    ("peak_at", "expected"),
    [(0.0, [10, 6, 4, 3, 2]), (0.25, [4, 10, 6, 3, 2]), (1.0, [2, 3, 4, 6, 10])],
)
def test_the_peak_can_be_set_anywhere(peak_at, expected):
    total = np.cumsum([10.0, 6, 4, 3, 2])
    rain = alternating_block(lambda h: total[: h.size], 5, step_s=3600, peak_at=peak_at)
    assert rain.tolist() == expected


def test_blocks_are_not_shorter_than_the_shortest_known_duration():
    # 15 min is the table's shortest duration: at 6-min steps blocks are 18 min, even inside
    rain = alternating_block(TABLE.curve(10), 3.0, step_s=360, least_duration_h=0.25)
    blocks = rain.reshape(-1, 3)
    np.testing.assert_allclose(blocks, blocks[:, :1].repeat(3, axis=1))
    assert blocks.sum(axis=1).max() == pytest.approx(TABLE.depth_mm(0.3, 10))
    assert rain.sum() == pytest.approx(TABLE.depth_mm(3, 10))


def test_alternating_block_refuses_what_does_not_fit():
    with pytest.raises(ValueError, match="duration_h must be a whole number of blocks of 900 s"):
        alternating_block(TABLE.curve(10), 1.1, step_s=60, least_duration_h=0.25)
    with pytest.raises(ValueError, match="must not fall with duration, got 5 mm at 2 h"):
        alternating_block(lambda h: 10.0 - 5 * (h - 1), 2, step_s=3600)
    with pytest.raises(ValueError, match="peak_at must be 0 to 1, got 2"):
        alternating_block(TABLE.curve(10), 6, step_s=3600, peak_at=2)


def test_uniform_rain():
    np.testing.assert_allclose(uniform(30, 1.5, step_s=1800), [10, 10, 10])
    with pytest.raises(ValueError, match="whole number of steps of 700 s, got 3600 s"):
        uniform(30, 1, step_s=700)
    with pytest.raises(ValueError, match="depth_mm must be above 0 mm"):
        uniform(0, 1)


def test_nrcs_rain_is_even_between_ordinates_and_keeps_them_at_any_step():
    coarse, fine = nrcs_24h(100, "type II", step_s=1800), nrcs_24h(100, "Type II", step_s=60)
    np.testing.assert_allclose(fine.reshape(48, 30).sum(axis=1), coarse)
    np.testing.assert_allclose(fine[:6], fine[0])
    assert coarse.argmax() == 23  # 11.5 to 12 h
    with pytest.raises(ValueError, match="no NRCS distribution is named 'type 2'; did you mean"):
        nrcs_24h(100, "type 2")


def test_an_observed_mass_curve_is_cut_into_steps():
    rain = observed([1, 2, 4, 4.25], [0, 6, 6, 9], step_s=1800)
    np.testing.assert_allclose(rain, [3, 3, 0, 0, 0, 0, 3])
    with pytest.raises(ValueError, match="cumulative_mm must not fall"):
        observed([0, 1, 2], [0, 5, 4])
    with pytest.raises(ValueError, match="3 times do not go with 2 depths"):
        observed([0, 1, 2], [0, 5])


def test_a_storm_knows_its_total_duration_and_intensity():
    storm = Storm("gauge", 900.0, [1, 4, 0, 2])
    assert storm.total_mm == 7
    assert storm.duration_h == 1.0
    assert storm.intensity_mm_per_h.tolist() == [4, 16, 0, 8]
    assert storm.return_period_y is None
    with pytest.raises(ValueError, match="read-only"):
        storm.depth_mm[0] = 5


def test_splitting_and_scaling_a_storm():
    storm = Storm("gauge", 900.0, [1, 4])
    split = storm.split(2)
    assert split.step_s == 450.0
    assert split.depth_mm.tolist() == [0.5, 0.5, 2, 2]
    wetter = storm.scaled(1.2).scaled(1.5)
    assert wetter.total_mm == pytest.approx(9)
    assert wetter.climate_uplift == pytest.approx(1.8)
    with pytest.raises(ValueError, match="parts must be 1 or more, got 0"):
        storm.split(0)
    with pytest.raises(ValueError, match="climate_uplift must be above 0"):
        storm.scaled(0)


@pytest.mark.parametrize(
    ("step", "depths", "message"),
    [
        (0, [1], "step_s must be above 0 s, got 0 s"),
        (60, [], "depth_mm must be a list of 1 or more values"),
        (60, [1, -2], "got -2.0 mm at place 2"),
        (60, [1, np.nan], "got nan mm at place 2"),
    ],
)
def test_storms_that_make_no_sense_are_refused(step, depths, message):
    with pytest.raises(ValueError, match=message):
        Storm("wrong", step, depths)


def test_several_storms_in_one_call_in_order():
    requests = [
        StormRequest(10, 6),
        StormRequest(100, 24, "type II", climate_uplift=1.3),
        StormRequest(2, 1, "uniform", name="nuisance"),
    ]
    storms = design_storms(TABLE, requests, step_s=300)
    assert [one.name for one in storms] == [
        "10-year 6 h alternating block",
        "100-year 24 h type II, x 1.3",
        "nuisance",
    ]
    assert [one.total_mm for one in storms] == pytest.approx([54, 120 * 1.3, 20])
    assert [one.climate_uplift for one in storms] == [1.0, 1.3, 1.0]
    assert [one.return_period_y for one in storms] == [10, 100, 2]
    assert [one.depth_mm.size for one in storms] == [72, 288, 12]


def test_storm_requests_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="'type II' is for 24 h, got 6 h; use 'alternating block'"):
        design_storm(TABLE, StormRequest(10, 6, "type II"))
    with pytest.raises(
        ValueError, match="no storm shape is named 'typ ii'; did you mean 'type II'"
    ):
        design_storm(TABLE, StormRequest(10, 24, "typ ii"))


def test_a_table_of_intensities_is_a_table_of_depths():
    table = DepthTable.of_intensities([0.5, 2], [2, 10], [[30, 50], [12, 20]])
    np.testing.assert_allclose(table.depths_mm, [[15, 25], [24, 40]])
    assert table.intensity_mm_per_h(2, 10) == pytest.approx(20)
    with pytest.raises(ValueError, match=r"a row for each of 2 durations, got shape \(1, 2\)"):
        DepthTable.of_intensities([0.5, 2], [2, 10], [[30, 50]])
