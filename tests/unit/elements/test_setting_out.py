"""Which stakes an element gets, and where they may not stand."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.elements.building import Margins, StakeSpacing, set_out
from brimline.grid import Grid
from brimline.terrain.shaping import Bank, Bowl, Channel, LevelAlong, Pad, design, notch

GRID = Grid(60, 80, 1.0, 0.0, 60.0)
LINE = shapely.LineString([(20, 30), (60, 30)])
MARGINS = Margins(100.0, 99.5, 100.4, 100.1, (100.5,), 99.0)


def ground(_x, y):
    return 100 + 0.1 * (np.asarray(y) - 30)


def staked(*shapes, label=1, spacing=StakeSpacing(10.0), margins=MARGINS):  # noqa: B008
    x, y = GRID.xy(*np.indices(GRID.shape))
    ready = design(ground(x, y).astype(np.float32), GRID, shapes)
    return set_out(ready, label, ground, margins, spacing)


def swale(element_id="s"):
    return [
        Channel(element_id, LINE, LevelAlong.flat(99.5), offset_m=1.3, bottom_m=0.6),
        Bank(element_id, LINE, LevelAlong.flat(100.4), offset_m=-1.0, top_m=0.4, settlement=0.1),
        notch(element_id, LINE, 35.0, 100.0, 2.0, left_m=1.0, right_m=4.0),
    ]


def of(stakes, role, side=""):
    return [stake for stake in stakes if (stake.role, stake.side) == (role, side)]


def test_a_swale_has_floor_crest_sill_and_offset_stakes():
    stakes = staked(*swale())
    assert [stake.chainage_m for stake in of(stakes, "floor")] == [0, 10, 20, 30, 40]
    assert {round(stake.y, 6) for stake in of(stakes, "floor")} == {31.3}
    assert {stake.design_m for stake in of(stakes, "floor")} == {99.5}
    crest = of(stakes, "crest")
    assert {round(stake.design_m, 6) for stake in crest} == {100.4}
    # built a tenth higher over the ground, which lies 0.1 m below the line there
    assert crest[0].build_m == pytest.approx(100.4 + 0.1 * 0.5)
    one, other = of(stakes, "sill")
    assert (one.design_m, other.design_m) == pytest.approx((100.0, 100.0))
    assert {round(one.x, 6), round(other.x, 6)} == {54.0, 56.0}
    left, right = of(stakes, "floor", "left"), of(stakes, "floor", "right")
    assert len(left) == len(right) == 5
    # the tape is laid from the floor's stake, not from the drawn line
    for beside, stake in zip(left + right, 2 * of(stakes, "floor"), strict=True):
        assert math.dist((beside.x, beside.y), (stake.x, stake.y)) == pytest.approx(beside.offset_m)


def test_no_crest_is_staked_where_the_sill_goes_through():
    # the sill's middle stands at chainage 35, where an interval of 5 m puts a stake
    crest = of(staked(*swale(), spacing=StakeSpacing(5.0)), "crest")
    assert 35 not in {stake.chainage_m for stake in crest}
    assert {30, 40} <= {stake.chainage_m for stake in crest}
    assert {round(stake.design_m, 6) for stake in crest} == {100.4}


def test_each_stake_bears_its_own_error():
    stakes = staked(*swale())
    assert of(stakes, "floor")[0].bears_m == pytest.approx(0.5)
    assert of(stakes, "crest")[0].bears_m == pytest.approx(0.3)
    sill = of(stakes, "sill")[0]
    # half the drop from the element above is least: (100.5 - 100)/2 against 0.3 and 0.5
    assert sill.bears_m == pytest.approx(0.25)
    assert "above" in sill.because


def test_no_stake_may_err_by_more_than_building_must_keep_or_than_costs_5_pct_of_storage():
    stakes = staked(*swale())
    limits = {"floor": 0.03, "crest": 0.05, "sill": 0.02}
    assert {role: of(stakes, role)[0].tolerance_m for role in limits} == limits
    shallow = replace(MARGINS, storage_m3=8.0)
    stakes = staked(*swale(), margins=shallow)
    floor, sill = of(stakes, "floor")[0], of(stakes, "sill")[0]
    # 40 m long, bottom 0.6 m: 24 m² and what its sides add; 5 % of 8 m³ are 0.4 m³
    assert 24 * floor.tolerance_m < 0.4
    assert floor.tolerance_m < 0.4 / 24
    assert sill.tolerance_m < 0.02
    assert floor.bears_m == pytest.approx(0.5)  # and goes on working far beyond that


def test_a_drain_bears_half_the_fall_between_two_stakes():
    drain = Channel("d", LINE, LevelAlong.graded(99.6, 99.4, 40.0), bottom_m=0.5)
    stakes = staked(drain)
    assert of(stakes, "floor")[0].tolerance_m == pytest.approx(0.2 / 40 * 10 / 2)
    np.testing.assert_allclose(
        [s.design_m for s in of(stakes, "floor")], np.linspace(99.6, 99.4, 5)
    )


def test_a_bowl_has_an_edge_and_a_crest_only_where_a_bank_is_built():
    bowl = Bowl("p", shapely.Point(40, 30).buffer(8), 100.0, 1.0, 2.0, crest_m=100.4, top_m=1.0)
    stakes = staked(bowl)
    edge = of(stakes, "edge")
    np.testing.assert_allclose([stake.design_m for stake in edge], 100.0, atol=1e-6)
    assert {(stake.tolerance_m, stake.bears_m) for stake in edge} == {(0.1, math.inf)}
    crest = of(stakes, "crest")
    assert 0 < len(crest) < len(edge)
    assert all(stake.cut_m < 0 for stake in crest)
    assert len(of(stakes, "edge", "left")) == len(edge)


def test_no_offset_stake_stands_in_the_digging_of_another():
    yard = Pad("yard", shapely.box(20, 34, 40, 44), 102.0)
    alone, beside = staked(*swale()), staked(*swale(), yard)
    assert len(of(alone, "floor", "left")) == 5
    assert len(of(beside, "floor", "left")) < 5
    assert len(of(beside, "floor", "right")) == 5


def test_offset_stakes_may_be_left_out_and_unknown_elements_are_refused():
    yard = Pad("yard", shapely.box(20, 34, 40, 44), 102.0)
    assert of(staked(*swale(), spacing=StakeSpacing(10.0, clear_m=0.0)), "floor", "left") == []
    with pytest.raises(ValueError, match="no element number 2"):
        staked(yard, label=2)
