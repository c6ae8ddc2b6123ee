"""Routing against closed forms and by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from brimline.cascade import (
    Discharge,
    Link,
    Network,
    Pace,
    StormInflow,
    inflow_of,
    route,
    with_rain,
)
from brimline.elements import Orifice, Sill, Soak, flow_m3_s
from brimline.errors import GridError
from brimline.rainfall import Hydrograph, Storm, peak_and_volume, uniform
from brimline.rainfall.infiltration import GreenAmpt

DAY_S = 60.0 * np.arange(1441)
HOUR_S = 60.0 * np.arange(61)
SILT_LOAM = GreenAmpt(6.5, 167.0, 0.340)


def single(element, *links):
    return Network((element,), links, (Discharge("end", "End", -9.0),))


@pytest.mark.interpreted
def test_drawdown_of_vertical_walls_is_depth_over_rate(box):
    # closed form: t = depth / k; 0.5 m at 20 mm/h (tested 40, safety 2) is 0.01 m after 24.5 h
    basin = box("b", soak=Soak(40.0, 2.0), start_level_m=0.5)
    still = StormInflow(np.array([0.0, 60.0]), {}, ends_s=0.0)
    routed = route(single(basin), still, Pace(after_h=30.0))
    assert routed.elements.drawdown_h[0] == pytest.approx(24.5, abs=1e-6)
    assert routed.elements.soaked_m3[0] == pytest.approx(50.0)
    half = route(single(basin), still, Pace(after_h=30.0), residual_m=0.25)
    assert half.elements.drawdown_h[0] == pytest.approx(12.5, abs=1e-6)


def test_drawdown_that_is_not_reached_is_infinite(box):
    basin = box("b", soak=Soak(1.0, 2.0), start_level_m=0.5)
    still = StormInflow(np.array([0.0, 60.0]), {})
    assert route(single(basin), still, Pace(after_h=5.0)).elements.drawdown_h[0] == np.inf


@pytest.mark.interpreted
def test_steady_inflow_settles_at_the_weir_head(box):
    # 0.05 m³/s over 1.705 x 0.85 x 2 H^1.5
    network = single(box("b"), Link("b", "end", Sill(1.0, 2.0)))
    steady = StormInflow(60.0 * np.arange(201), {"b": np.full(200, 0.05)})
    start = replace(network.elements[0], start_level_m=1.0)
    routed = route(network.with_element(start), steady, Pace(after_h=0.0))
    head = (0.05 / (1.705 * 0.85 * 2)) ** (2 / 3)
    assert routed.elements.peak_level_m[0] == pytest.approx(1.0 + head, abs=1e-4)
    assert routed.links.peak_m3_s[0] == pytest.approx(0.05, rel=1e-3)


def test_filling_is_volume_over_area(box):
    network = single(box("b"), Link("b", "end", Sill(1.0, 2.0)))
    routed = route(network, StormInflow(HOUR_S, {"b": np.full(60, 0.02)}), Pace(after_h=0.0))
    assert routed.series is not None
    assert routed.series.level_m[:, 0] == pytest.approx(0.02 * HOUR_S / 100.0)
    assert routed.elements.spilled_m3[0] == 0.0
    assert routed.elements.end_m3[0] == pytest.approx(72.0)


def test_two_sills_at_different_levels_take_water_in_order_of_level(box):
    # the lower takes all until its head reaches the higher; then both run
    network = Network(
        (box("b"),),
        (Link("b", "high", Sill(1.1, 3.0)), Link("b", "low", Sill(1.0, 0.5))),
        (Discharge("low", "Low", -1.0), Discharge("high", "High", -1.0)),
    )
    limit = flow_m3_s(Sill(1.0, 0.5), 1.1)
    small = StormInflow(DAY_S, {"b": np.full(1440, 0.95 * limit)})
    large = StormInflow(DAY_S, {"b": np.full(1440, 3.0 * limit)})
    only_low = route(network, small, Pace(after_h=0.0))
    assert only_low.links.forward_m3[0] == 0.0
    assert only_low.links.forward_m3[1] > 0.0
    both = route(network, large, Pace(after_h=0.0))
    assert both.series is not None
    high, low = both.series.flow_m3_s[:, 0], both.series.flow_m3_s[:, 1]
    assert (low[high > 0] >= limit * (1 - 1e-9)).all()
    assert high[-1] + low[-1] == pytest.approx(3.0 * limit, rel=1e-6)


def test_level_beyond_drowns_the_sill(box):
    # two pools joined by a sill, the lower one held high by a narrow outlet: at rest both pass
    # the same flow, the upper over a drowned sill
    upper, lower = box("u"), box("l", floor=0.0, spill=0.95, crest=1.5)
    links = (Link("u", "l", Sill(1.0, 1.0)), Link("l", "end", Sill(0.95, 0.4)))
    network = Network((upper, lower), links, (Discharge("end", "End", -1.0),))
    steady = StormInflow(DAY_S, {"u": np.full(1440, 0.1)})
    routed = route(network, steady, Pace(after_h=0.0))
    assert routed.series is not None
    up, low = routed.series.level_m[-1]
    assert flow_m3_s(links[0].outlet, up, low) == pytest.approx(0.1, rel=1e-4)
    assert flow_m3_s(links[1].outlet, low) == pytest.approx(0.1, rel=1e-4)
    free = route(
        network.with_link(links[1], replace(links[1], outlet=Sill(0.95, 50.0))),
        steady,
        Pace(after_h=0.0),
    )
    assert up > free.elements.peak_level_m[0] + 0.02


def test_joined_pools_come_level_from_either_side(box):
    # water over a sill runs back once the pool below stands higher
    upper, lower = box("u", start_level_m=1.0), box("l", start_level_m=1.4)
    network = Network((upper, lower), (Link("u", "l", Sill(1.02, 3.0)),), ())
    network = Network((upper, replace(lower, spill_level_m=1.0)), network.links, ())
    still = StormInflow(DAY_S, {})
    routed = route(network, still, Pace(after_h=0.0))
    assert routed.series is not None
    assert routed.links.back_m3[0] == pytest.approx(100 * 0.2, rel=1e-3)
    assert routed.series.level_m[-1] == pytest.approx([1.2, 1.2], abs=1e-3)


def test_water_is_not_led_uphill(box):
    # the way leads to a pool that spills 0.5 m higher: nothing runs until the brim
    low = box("a", spill=1.0, crest=1.3)
    high = box("b", floor=0.5, spill=1.5, crest=2.0, start_level_m=1.2)
    network = Network((low, high), (Link("a", "b", Sill(1.0, 2.0)),), ())
    routed = route(network, StormInflow(DAY_S, {"a": np.full(1440, 0.01)}))
    assert routed.links.forward_m3[0] == 0.0
    assert routed.elements.overtopped_m3[0] > 0.0
    assert routed.elements.received_m3[1] == 0.0


def test_what_runs_over_the_brim_reaches_where_the_sill_leads(box, bell):
    top = box("top", spill=1.0, crest=1.1)
    low = box("low", floor=-3.0, spill=-2.0, crest=-1.0, area=1e4)
    network = Network((top, low), (Link("top", "low", Sill(1.0, 0.05)),), ())
    routed = route(network, StormInflow(DAY_S, {"top": bell(0.2)}))
    assert routed.elements.overtopped_m3[0] > 100.0
    assert routed.elements.received_m3[1] == pytest.approx(
        routed.elements.spilled_m3[0] + routed.elements.overtopped_m3[0]
    )


def test_rings_are_routed_as_leading_nowhere(box, bell):
    links = (Link("a", "b", Sill(1.0, 1.0)), Link("b", "a", Sill(1.0, 1.0)))
    network = Network((box("a"), box("b")), links)
    routed = route(network, StormInflow(DAY_S, {"a": bell(0.1)}))
    assert {0, 1} <= routed.broken
    assert routed.elements.received_m3.tolist() == [0.0, 0.0]
    assert routed.left_m3 > 0.0


@pytest.mark.parametrize("depth_m", [0.04, 0.5])
def test_green_ampt_under_standing_water(depth_m, box):
    # Time to soak F under a falling depth d - F, by quadrature of dF / (K (1 + (ψ + d - F) Δθ/F));
    # silt loam of Chow, Maidment & Mays (1988), Example 4.3.1 (value from memory)
    basin = box("b", area=1e4, soak=Soak.into(SILT_LOAM, safety_factor=1.0), start_level_m=depth_m)
    routed = route(single(basin), StormInflow(HOUR_S, {}), Pace(after_h=0.0))
    soaked_m = routed.elements.soaked_m3[0] / 1e4

    def seconds_per_metre(soaked):
        pull = (0.167 + depth_m - soaked) * 0.340
        return soaked / (6.5 / 3.6e6 * (soaked + pull))

    seconds, _ = quad(seconds_per_metre, 0.0, soaked_m)
    assert seconds == pytest.approx(3600.0, rel=0.01)


def test_dry_ground_takes_rain_before_it_ponds(box):
    # Chow et al. (1988), Example 4.4.1 (value from memory): 5 cm/h ponds after 0.17 h
    soil = SILT_LOAM
    basin = box("b", area=1e4, soak=Soak.into(soil, safety_factor=1.0))
    rate = 50.0 / 3.6e6 * 1e4
    routed = route(
        single(basin),
        StormInflow(10.0 * np.arange(181), {"b": np.full(180, rate)}),
        Pace(after_h=0),
    )
    assert routed.series is not None
    wet = routed.series.storage_m3[:, 0] > 1e-6 * rate
    first_h = routed.series.edges_s[int(np.argmax(wet))] / 3600
    assert first_h == pytest.approx(soil.ponding_time_h(50.0), abs=0.01)


def test_balances_close_to_rounding(hillside, storm):
    routed = route(hillside, storm)
    put_in = storm.volume_m3
    assert np.abs(routed.elements.residual_m3).max() < 1e-9 * put_in
    assert abs(routed.residual_m3) < 1e-9 * put_in
    assert routed.missed == 0


def test_series_agree_with_the_sums(hillside, storm):
    routed = route(hillside, storm)
    series, sums = routed.series, routed.elements
    assert series is not None
    lengths = np.diff(series.edges_s)
    assert lengths @ series.inflow_m3_s == pytest.approx(sums.outside_m3 + sums.received_m3)
    net = routed.links.forward_m3 - routed.links.back_m3
    assert lengths @ series.flow_m3_s == pytest.approx(net, abs=1e-9)
    assert (series.level_m.max(axis=0) <= sums.peak_level_m + 1e-9).all()
    assert series.soaked_m3[-1] == pytest.approx(sums.soaked_m3)
    assert series.storage_m3[-1] == pytest.approx(sums.end_m3, abs=1e-9)


def test_series_can_be_left_out_without_changing_the_sums(hillside, storm):
    full, bare = route(hillside, storm), route(hillside, storm, keep_series=False)
    assert bare.series is None
    assert np.isnan(bare.elements.drawdown_h).all()
    assert bare.elements.peak_level_m.tolist() == full.elements.peak_level_m.tolist()


def test_listing_order_changes_nothing(hillside, storm):
    forwards = route(hillside, storm)
    backwards = route(replace(hillside, elements=hillside.elements[::-1]), storm)
    assert backwards.elements.peak_level_m[::-1] == pytest.approx(
        forwards.elements.peak_level_m, abs=1e-6
    )


def test_finer_steps_find_the_same_peaks(hillside, storm):
    usual = route(hillside, storm)
    fine = route(hillside, storm, Pace(tolerance_m=1e-6, halvings=12))
    assert fine.steps > usual.steps + 300
    assert usual.elements.peak_level_m == pytest.approx(fine.elements.peak_level_m, abs=1e-3)
    assert usual.elements.spilled_m3 == pytest.approx(fine.elements.spilled_m3, rel=2e-3, abs=0.05)


def test_inflow_is_made_of_hydrographs_and_rain():
    parts = [
        peak_and_volume(0.1, 200.0),
        Hydrograph(np.array([0.0, 600.0]), np.array([0.05, 0.05])),
    ]
    inflow = inflow_of({"a": parts, "b": []}, 30.0 * np.arange(400))
    assert inflow.volume_m3 == pytest.approx(230.0)
    assert list(inflow.mean_m3_s) == ["a"]
    rained = with_rain(inflow, Storm("even", 60.0, uniform(24.0, 1.0, step_s=60.0)), {"b": 500.0})
    assert rained.volume_m3 == pytest.approx(230.0 + 12.0)
    assert inflow.scaled(1.2).volume_m3 == pytest.approx(276.0)


@pytest.mark.parametrize(
    ("edges", "flows"),
    [
        ([0.0], {}),
        ([0.0, 0.0], {}),
        ([0.0, 1.0], {"a": [1.0, 2.0]}),
        ([0.0, 1.0], {"a": [-1.0]}),
        ([0.0, 1.0], {"a": [np.nan]}),
    ],
)
def test_broken_inflow_is_refused(edges, flows):
    with pytest.raises(GridError):
        StormInflow(np.array(edges), {name: np.array(flow) for name, flow in flows.items()})


def test_inflow_for_a_stranger_is_refused(hillside):
    with pytest.raises(ValueError, match="stranger"):
        route(hillside, StormInflow(HOUR_S, {"stranger": np.zeros(60)}))


@pytest.mark.parametrize("values", [{"tolerance_m": 0.0}, {"halvings": 99}, {"after_step_s": 0.0}])
def test_impossible_pace_is_refused(values):
    with pytest.raises(ValueError, match="routing needs"):
        Pace(**values)


@pytest.mark.interpreted
def test_low_orifice_empties_a_sealed_tank(box):
    # Torricelli: from full head H over the centre, A dh/dt = -Cd a √(2gh)
    orifice = Orifice(0.0, 0.05, 0.6)
    tank = box("t", area=2.0, start_level_m=1.0)
    still = StormInflow(10.0 * np.arange(61), {})
    routed = route(single(tank, Link("t", "end", orifice)), still, Pace(1e-5, 12, after_h=0.0))
    hole = np.pi * 0.05**2 / 4
    root = np.sqrt(1.0 - 0.025) - 0.6 * hole * np.sqrt(2 * 9.81) / 2.0 * 600 / 2
    assert routed.series is not None
    assert routed.series.level_m[-1, 0] == pytest.approx(root**2 + 0.025, abs=5e-4)
