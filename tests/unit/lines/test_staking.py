"""Stations, stakes, tolerances and rod readings, by hand."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from brimline.grid import Grid
from brimline.layers import FLAGS
from brimline.lines.sample import surface_at
from brimline.lines.staking import (
    LEVEL_ON_SITE,
    Instrument,
    Reason,
    Stake,
    Tolerance,
    crest_tolerance,
    fall_tolerance,
    floor_tolerance,
    judged,
    offset_stakes,
    readings,
    sill_tolerance,
    stakes_on,
    stations_along,
    stations_around,
    storage_error_m,
    survey_decides_m,
)
from brimline.terrain.shaping import Bank, Channel, LevelAlong, design

BENT = shapely.LineString([(0, 0), (25, 0), (25, 20)])


def test_stations_at_ends_intervals_corners_and_where_asked():
    found = stations_along(BENT, 10.0, asked_m=[12.0, 13.5])
    np.testing.assert_allclose(found.chainage_m, [0, 10, 12, 13.5, 20, 25, 30, 40, 45])
    told = [Reason(code).name[0] for code in found.reason]
    assert told == list("EIAAITIIE")
    np.testing.assert_allclose(found.x[[5, 6]], [25, 25])
    np.testing.assert_allclose(found.y[[5, 6]], [0, 5])


def test_left_is_square_to_the_line_and_halfway_round_a_corner():
    found = stations_along(BENT, 100.0)
    x, y = found.offset(2.0)
    np.testing.assert_allclose(np.c_[x, y][0], [0, 2])
    np.testing.assert_allclose(np.c_[x, y][1], [25 - np.sqrt(2), np.sqrt(2)])
    np.testing.assert_allclose(np.c_[x, y][2], [23, 20])


def test_a_bend_of_small_corners_is_followed():
    # A quarter turn by 1 degree a corner, 16 m long: a stake each time 15 degrees are passed.
    angle = np.radians(np.arange(0, 91))
    arc = shapely.LineString(np.c_[10 * np.sin(angle), 10 * (1 - np.cos(angle))])
    found = stations_along(arc, 1000.0, turn_deg=15.0)
    turns = (found.reason == Reason.TURN).sum()
    assert turns == 5
    chords = shapely.LineString(np.c_[found.x, found.y])
    assert shapely.hausdorff_distance(arc, chords) < 10 * (1 - np.cos(np.radians(8.5)))


def test_interval_stations_do_not_crowd_the_end():
    found = stations_along(shapely.LineString([(0, 0), (20.5, 0)]), 10.0)
    np.testing.assert_allclose(found.chainage_m, [0, 10, 20.5])


def test_round_an_outline_left_is_outwards_and_no_place_is_staked_twice():
    found = stations_around(shapely.box(0, 0, 12, 8), 5.0)
    assert len(np.unique(np.round(np.c_[found.x, found.y], 6), axis=0)) == len(found.x)
    assert {(0, 0), (0, 8), (12, 8), (12, 0)} <= set(zip(found.x, found.y, strict=True))
    outside = shapely.points(*found.offset(0.5))
    assert not shapely.box(0, 0, 12, 8).intersects(outside).any()


def test_a_gap_is_longest_between_two_stations_that_stand_for_others():
    # Every 10 m: 9.01 m stands for 10 m and 20.99 m for 20 m, so 1.2 intervals less 2 cm lie
    # between; of two asked for within 5 mm the one that is kept must be the one that stands.
    line = shapely.LineString([(0, 0), (30, 0)])
    found = stations_along(line, 10.0, asked_m=[9.01, 20.99])
    np.testing.assert_allclose(found.chainage_m, [0, 9.01, 20.99, 30])
    found = stations_along(line, 10.0, asked_m=[8.997, 9.001, 20.999, 21.003])
    np.testing.assert_allclose(found.chainage_m, [0, 8.997, 10, 20.999, 30])


@settings(deadline=None, max_examples=50)
@example(6739)  # a station asked for stands in for an interval station on either side of the gap
@given(st.integers(0, 10_000))
def test_stations_lie_on_the_line_in_order_and_never_too_far_apart(seed):
    """Every station is on the line, chainages rise, and no gap is longer than 1.2 intervals."""
    rng = np.random.default_rng(seed)
    line = shapely.LineString(np.cumsum(rng.uniform(-3, 8, (rng.integers(2, 30), 2)), axis=0))
    asked = rng.uniform(0, line.length, 3)
    found = stations_along(line, 4.0, turn_deg=10.0, asked_m=asked)
    assert (np.diff(found.chainage_m) > 0).all()
    assert np.diff(found.chainage_m).max() <= 4.8 + 1e-9
    np.testing.assert_allclose(
        shapely.distance(line, shapely.points(found.x, found.y)), 0, atol=1e-9
    )
    for at in [0.0, line.length, *asked]:
        assert np.abs(found.chainage_m - at).min() <= 0.005 + 1e-9
    np.testing.assert_allclose(np.hypot(found.east, found.north), 1)


def test_stakes_carry_the_levels_of_the_designed_surface():
    # A swale on a plane of 1 in 10: stakes have the surface's levels, to a millimetre.
    grid = Grid(40, 60, 1.0, 0.0, 40.0)
    _, north = grid.xy(*np.indices(grid.shape))
    dem = ((north - 20) / 10).astype(np.float32)
    line = shapely.LineString([(10, 20), (50, 20)])
    shapes = [
        Channel("s1", line, LevelAlong.flat(-0.5), offset_m=1.3, bottom_m=0.6),
        Bank("s1", line, LevelAlong.flat(0.4), offset_m=-1.0, top_m=0.4),
    ]
    ready = design(dem, grid, shapes)

    def ground(x, y):
        return surface_at(dem, grid, x, y)

    def wanted(x, y):
        return ready.at(x, y, ground(x, y)).level_m

    crest = stations_along(shapely.LineString([(10, 19), (50, 19)]), 20.0)
    stakes = stakes_on("s1", "crest", crest, ground, wanted, tolerance=Tolerance(0.15, "leaks"))
    assert [stake.stake_id for stake in stakes] == ["s1-C01", "s1-C02", "s1-C03"]
    for stake in stakes:
        assert stake.design_m == pytest.approx(0.4, abs=1e-3)
        assert stake.cut_m == pytest.approx(-0.5, abs=1e-3)  # fill on ground 0.1 m below the lip
    middle = stations_along(shapely.LineString([(10, 21.3), (50, 21.3)]), 20.0)
    floor = stakes_on("s1", "floor", middle, ground, wanted)
    assert [stake.cut_m for stake in floor] == pytest.approx([0.63] * 3, abs=1e-3)
    beside = offset_stakes(stakes, crest, -3.0, ground)
    assert beside[0].stake_id == "s1-C01R"
    assert (beside[0].x, beside[0].y) == pytest.approx((10, 16))
    assert beside[0].design_m == stakes[0].design_m
    assert beside[0].cut_m == pytest.approx(-0.4 - 0.4, abs=1e-3)


def stake(**changes):
    usual = {"element_id": "a", "stake_id": "a-1", "role": "sill", "chainage_m": 0.0}
    usual |= {"x": 0.0, "y": 0.0, "ground_m": 10.0, "design_m": 9.4}
    return Stake(**(usual | changes))


def test_a_survey_of_10_cm_decides_no_level_finer_than_28():
    # Brasington et al. 2003; Wheaton et al. 2010: 0.10 and 0.10 m at 95 % are 0.277 m.
    assert survey_decides_m(0.10) == pytest.approx(0.277, abs=5e-4)
    coarse, fine, any_level = judged(
        [stake(tolerance_m=0.3), stake(tolerance_m=0.2), stake(tolerance_m=math.inf)], 0.10
    )
    assert coarse.flags == any_level.flags == ()
    assert fine.flags == (LEVEL_ON_SITE,)
    assert judged([fine], 0.10) == [fine]


def test_an_element_beyond_the_survey_is_flagged_once_on_the_stake_that_bears_least():
    many = [
        stake(tolerance_m=0.03 - 0.01 * (k == 50), element_id="ab"[k // 100]) for k in range(187)
    ]
    flagged = [k for k, one in enumerate(judged(many, 0.10)) if one.flags]
    assert flagged == [50, 100]


def test_the_word_on_a_flagged_stake():
    assert "level on site before digging" in FLAGS[LEVEL_ON_SITE].meaning


def test_an_error_that_costs_5_pct_of_storage_is_the_prism_s_own():
    """A swale 0.30 m deep, bottom 0.6 m, sides 2 to 1: b y + z y² for a metre of it."""
    held = 0.6 * 0.3 + 2 * 0.3**2
    floor = storage_error_m(held, 5.0, 0.6, spread_m=2.0)
    raised = held - (0.6 * floor + 2 * floor**2)
    assert raised == pytest.approx(0.95 * held)
    assert floor < 0.03  # and not the 0.30 m that would destroy it
    sill = storage_error_m(held, 5.0, 0.6 + 4 * 0.3)
    assert sill == pytest.approx(0.05 * held / 1.8)
    assert storage_error_m(math.nan, 5.0, 1.0) == math.inf


def test_a_sill_bears_the_least_of_its_margins():
    assert sill_tolerance(10.0, 10.1, 10.3).error_m == pytest.approx(0.2)
    error, because = sill_tolerance(10.0, 10.1, 10.3, receiver_level_m=9.9, feeder_levels_m=[11])
    assert error == pytest.approx(0.05)
    assert "not fall to the next" in because
    error, because = sill_tolerance(10.0, 10.1, 10.13, receiver_level_m=9.0)
    assert error == pytest.approx(0.03)
    assert "over the crest" in because
    error, because = sill_tolerance(10.0, 10.1, 11, feeder_levels_m=[12, 10.08])
    assert error == pytest.approx(0.04)
    assert "above" in because
    error, because = sill_tolerance(10.0, 10.1, 11, other_sills_m=[10.02])
    assert error == pytest.approx(0.01)
    assert sill_tolerance(10.0, 10.5, 10.3).error_m == 0


def test_crests_floors_and_falls_bear_their_own():
    assert crest_tolerance(10.5, 10.2).error_m == pytest.approx(0.3)
    assert floor_tolerance(10.0, 9.6).error_m == pytest.approx(0.4)
    # 10 m at 1:300 falls 33 mm; two stakes may err 17 mm each
    assert fall_tolerance(10 / 300).error_m == pytest.approx(1 / 60)


def test_rod_readings_from_a_benchmark():
    # Height of instrument 100.00 + 1.50 m; a level of 99.20 m reads 2.30 m.
    level = Instrument("peg", 100.0, 1.5, rod_m=4.0)
    on, off, above = readings(
        [stake(ground_m=99.9, design_m=99.2), stake(ground_m=98.0, design_m=97.0),
         stake(ground_m=101.6, design_m=101.0)], level,
    )  # fmt: skip
    assert on.rod_m == pytest.approx(2.3)
    assert on.rod_ground_m == pytest.approx(1.6)
    assert on.above_benchmark_m == pytest.approx(-0.8)
    assert on.rod_m - on.rod_ground_m == pytest.approx(on.stake.cut_m)
    assert on.in_reach
    assert not off.in_reach
    assert not above.in_reach
    # a bank is read where it is built to, 5 cm over what it settles to
    (bank,) = readings([stake(ground_m=99.9, design_m=100.5, build_m=100.55)], level)
    assert bank.rod_m == pytest.approx(0.95)
    assert bank.above_benchmark_m == pytest.approx(0.55)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stations_along(BENT, 0.0), "above 0"),
        (lambda: stations_along(shapely.LineString([(0, 0), (0, 0)]), 1.0), "longer than 0"),
        (lambda: stations_along(BENT, 1.0, asked_m=[46.0]), "chainage 46.0 m is not on a line"),
        (lambda: offset_stakes([], stations_along(BENT, 5), 1.0, None), "do not stand"),
        (lambda: offset_stakes([], stations_along(BENT, 5), 0.0, None), "other than 0 m"),
        (lambda: survey_decides_m(-0.1), "0 m or more"),
        (lambda: Instrument("peg", 0.0, 0.0), "heights above 0 m"),
    ],
)
def test_unusable_requests_are_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
