"""Rainfall: what must hold for any rain, soil, catchment and step."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.rainfall import (
    DepthTable,
    Hydrograph,
    MixedGround,
    PathFlow,
    Storm,
    StormRequest,
    alternating_block,
    composite_curve_number,
    concentration_h,
    design_storm,
    excess_mm,
    hydrograph,
    nrcs_24h,
    route_excess,
    runoff_depth_mm,
    segments_along_path,
    sum_hydrographs,
    unit_hydrograph,
)
from brimline.rainfall.infiltration import GreenAmpt, green_ampt_step, soaked_under_rain_mm
from brimline.rainfall.storms import NRCS_TYPES, SHAPES

some = settings(deadline=None, max_examples=60)

depths = st.floats(0, 500)
numbers = st.floats(1, 100)
ratios = st.floats(0, 1)
shapes = st.sampled_from(["curvilinear", "triangular", "gamma"])
hyetographs = st.lists(st.floats(0, 60), min_size=1, max_size=30)
soils = st.builds(
    GreenAmpt,
    conductivity_mm_per_h=st.floats(0.01, 120),
    suction_mm=st.floats(0, 320),
    deficit=st.floats(0, 0.5),
)


@st.composite
def tables(draw):
    durations = np.cumsum(draw(st.lists(st.floats(0.1, 8), min_size=2, max_size=5)))
    periods = 1.0 + np.cumsum(draw(st.lists(st.floats(0.5, 60), min_size=2, max_size=4)))
    count = durations.size * periods.size
    steps = draw(st.lists(st.floats(0.1, 20), min_size=count, max_size=count))
    cells = np.array(steps).reshape(durations.size, periods.size)
    return DepthTable(durations, periods, cells.cumsum(axis=0).cumsum(axis=1))


@st.composite
def flows(draw):
    gaps = draw(st.lists(st.floats(1, 900), min_size=1, max_size=8))
    start = draw(st.floats(-1000, 1000))
    times = start + np.concatenate([[0.0], np.cumsum(gaps)])
    values = draw(st.lists(st.floats(0, 5), min_size=times.size, max_size=times.size))
    return Hydrograph(times, np.array(values))


@some
@given(depths, depths, numbers, ratios)
def test_more_rain_never_sheds_less_and_runoff_lies_between_none_and_all(a, b, number, ratio):
    low, high = sorted((a, b))
    less = runoff_depth_mm(low, number, abstraction_ratio=ratio)
    more = runoff_depth_mm(high, number, abstraction_ratio=ratio)
    assert 0 <= less <= low * (1 + 1e-12)
    assert less <= more * (1 + 1e-12)


@some
@given(depths, numbers, numbers)
def test_a_higher_curve_number_never_sheds_less(rain, a, b):
    low, high = sorted((a, b))
    assert runoff_depth_mm(rain, low) <= runoff_depth_mm(rain, high) + 1e-9


@some
@given(hyetographs, numbers, ratios)
def test_excess_sums_to_the_runoff_and_no_step_sheds_more_than_fell(rain, number, ratio):
    excess = excess_mm(rain, number, abstraction_ratio=ratio)
    assert (excess >= 0).all()
    assert (excess <= rain).all()
    whole = runoff_depth_mm(float(np.sum(rain)), number, abstraction_ratio=ratio)
    assert excess.sum() == pytest.approx(whole, rel=1e-9, abs=1e-9)


@some
@given(hyetographs, st.lists(st.tuples(numbers, st.floats(1, 1e4)), min_size=1, max_size=4))
def test_weighted_excess_lies_between_that_of_the_least_and_the_most_shedding_class(rain, classes):
    values, areas = zip(*classes, strict=True)
    mixed = MixedGround(values, areas).excess_mm(rain).sum()
    lowest, highest = (runoff_depth_mm(float(np.sum(rain)), f(values)) for f in (min, max))
    assert lowest - 1e-9 <= mixed <= highest + 1e-9
    assert min(values) - 1e-9 <= composite_curve_number(values, areas) <= max(values) + 1e-9


@some
@given(tables(), st.data())
def test_a_depth_table_never_falls_with_duration_or_return_period(table, data):
    def within(known):
        return st.floats(float(known[0]), float(known[-1]))

    short, long = sorted(data.draw(st.tuples(*[within(table.durations_h)] * 2)))
    often, rare = sorted(data.draw(st.tuples(*[within(table.return_periods_y)] * 2)))
    least = table.depth_mm(short, often)
    slack = 1 + 1e-9
    assert least <= table.depth_mm(long, often) * slack
    assert least <= table.depth_mm(short, rare) * slack
    assert table.depths_mm.min() / slack <= least <= table.depths_mm.max() * slack


@some
@given(tables(), st.integers(1, 40), st.floats(0, 1))
def test_around_the_peak_of_alternating_blocks_the_depth_is_the_designs_for_every_duration(
    table, blocks, peak_at
):
    period = float(table.return_periods_y[0])
    first, last = float(table.durations_h[0]), float(table.durations_h[-1])
    blocks = max(1, min(blocks, int(last / first)))
    rain = alternating_block(
        table.curve(period), blocks * first, step_s=first * 3600, peak_at=peak_at
    )
    low = high = peak = int((blocks - 1) * peak_at)
    for count in range(1, blocks + 1):
        expected = table.depth_mm(count * first, period)
        assert rain[low : high + 1].sum() == pytest.approx(expected, rel=1e-9)
        right_is_next = high - peak <= peak - low
        if high + 1 < blocks and (right_is_next or low == 0):
            high += 1
        else:
            low -= 1


@some
@given(st.floats(1, 500), st.sampled_from(NRCS_TYPES), st.sampled_from([60, 300, 360, 900, 3600]))
def test_a_distribution_spreads_the_whole_depth_and_no_less_than_none(depth, kind, step_s):
    rain = nrcs_24h(depth, kind, step_s=step_s)
    assert rain.size == 86_400 // step_s
    assert (rain > 0).all()
    assert rain.sum() == pytest.approx(depth, rel=1e-12)


@some
@given(st.sampled_from(SHAPES), st.floats(0.8, 2), st.floats(2, 100))
def test_a_design_storm_sums_to_the_tables_depth_times_the_uplift(shape, uplift, period):
    table = DepthTable([0.5, 2, 24], [2, 100], [[15, 40], [25, 70], [50, 130]])
    storm = design_storm(table, StormRequest(period, 24, shape, uplift), step_s=600)
    assert storm.total_mm == pytest.approx(table.depth_mm(24, period) * uplift, rel=1e-9)
    assert storm.duration_h == pytest.approx(24)


@some
@given(st.floats(0, 20), st.floats(10, 3600), shapes)
def test_unit_hydrograph_shares_sum_to_one_and_begin_at_none(concentration, step_s, shape):
    shares = unit_hydrograph(concentration, step_s, shape=shape)
    assert shares[0] == 0
    assert (shares >= 0).all()
    assert shares.sum() == pytest.approx(1, rel=1e-12)


@some
@given(
    hyetographs,
    st.floats(10, 3600),
    st.floats(1, 1e7),
    st.one_of(st.just(0.0), st.floats(0.02, 10)),
    shapes,
)
def test_volume_under_a_hydrograph_is_excess_depth_times_area(excess, step_s, area, tc, shape):
    flow = route_excess(excess, step_s, area, concentration_h=tc, shape=shape)
    assert flow.volume_m3 == pytest.approx(sum(excess) * area / 1000, rel=1e-10, abs=1e-12)
    assert flow.flow_m3_s[0] == flow.flow_m3_s[-1] == 0


@some
@given(hyetographs, numbers, st.floats(1, 3), st.floats(0.1, 3))
def test_a_raised_storm_never_lowers_the_flow_at_any_time(rain, number, uplift, tc):
    plain = Storm("plain", 300.0, np.array(rain))
    low = hydrograph(plain, 1e5, concentration_h=tc, curve_number=number)
    high = hydrograph(plain.scaled(uplift), 1e5, concentration_h=tc, curve_number=number)
    assert (low.flow_m3_s <= high.flow_m3_s + 1e-9).all()


@some
@given(flows(), st.lists(st.floats(0.5, 700), min_size=1, max_size=12), st.floats(0, 500))
def test_mean_flows_over_any_steps_keep_the_volume(flow, steps, lead):
    inside = flow.time_s[0] - lead + np.concatenate([[0.0], np.cumsum(steps)])
    edges = np.append(inside, max(inside[-1], float(flow.time_s[-1])) + 1.0)
    carried = flow.mean_flow_m3_s(edges) @ np.diff(edges)
    assert carried == pytest.approx(flow.volume_m3, rel=1e-9, abs=1e-9)


@some
@given(st.lists(flows(), min_size=1, max_size=4), st.lists(st.floats(-1500, 9000), min_size=1))
def test_a_sum_of_hydrographs_adds_flows_at_any_time_and_volumes(parts, times):
    total = sum_hydrographs(parts)
    assert total.volume_m3 == pytest.approx(sum(p.volume_m3 for p in parts), rel=1e-9, abs=1e-9)
    expected = np.sum([part.at(times) for part in parts], axis=0)
    np.testing.assert_allclose(total.at(times), expected, rtol=1e-6, atol=1e-6)


@some
@given(soils, st.floats(0, 300), st.floats(0, 300), st.floats(0.001, 24), st.integers(2, 6))
def test_dividing_a_step_does_not_change_what_soaks_in(soil, soaked, supply, step, parts):
    pull, conductivity = soil.pull_mm, soil.conductivity_mm_per_h
    whole = green_ampt_step(soaked, supply, pull, conductivity, step)
    divided = soaked
    for _ in range(parts):
        divided = green_ampt_step(divided, supply, pull, conductivity, step / parts)
    assert divided == pytest.approx(whole, rel=1e-8, abs=1e-8)


@some
@given(soils, hyetographs, st.floats(60, 7200))
def test_soaked_water_never_exceeds_the_rain_nor_falls_below_what_gravity_takes(soil, rain, step_s):
    soaked = soaked_under_rain_mm(rain, step_s, soil)
    assert (np.diff(soaked, prepend=0.0) >= 0).all()
    assert (soaked <= np.cumsum(rain) * (1 + 1e-12) + 1e-12).all()
    by_gravity = np.minimum(rain, soil.conductivity_mm_per_h * step_s / 3600)
    assert (soaked >= np.cumsum(by_gravity) * (1 - 1e-9) - 1e-9).all()


@some
@given(soils, st.floats(0, 200), st.floats(0, 300), st.floats(0, 300), st.floats(0.01, 24))
def test_more_supply_never_soaks_less_and_drier_soil_never_takes_less(soil, soaked, a, b, step):
    low, high = sorted((a, b))
    pull, conductivity = soil.pull_mm, soil.conductivity_mm_per_h
    less = green_ampt_step(soaked, low, pull, conductivity, step)
    assert less <= green_ampt_step(soaked, high, pull, conductivity, step) * (1 + 1e-9)
    assert less <= green_ampt_step(soaked, low, pull * 1.5 + 1, conductivity, step) * (1 + 1e-9)


@some
@given(
    st.lists(st.tuples(st.floats(0.5, 200), st.floats(-1, 5), st.floats(0, 4e4)), min_size=1),
    st.floats(1e3, 1e5),
)
def test_segments_tile_the_path_in_order_and_take_some_time(legs, channel_area):
    lengths, falls, gains = (np.array(column) for column in zip(*legs, strict=True))
    chainage = np.concatenate([[0.0], np.cumsum(lengths)])
    elevation = 500 - np.concatenate([[0.0], np.cumsum(falls)])
    area = np.concatenate([[0.0], np.cumsum(gains)])
    flow = PathFlow(rain_2y_24h_mm=80, channel_area_m2=channel_area)
    segments = segments_along_path(chainage, elevation, area, flow)
    assert segments[0].from_m == chainage[0]
    assert segments[-1].to_m == chainage[-1]
    assert all(one.to_m == following.from_m for one, following in pairwise(segments))
    kinds = [one.kind for one in segments]
    assert kinds == sorted(set(kinds), key=["sheet", "shallow", "channel"].index)
    assert concentration_h(segments) >= 0.1
