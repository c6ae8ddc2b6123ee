"""Walls that a design digs away, undermines or loads, on the designed ground."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from tests.drawn_rows import drawn

from brimline.design import Plan, StandingWall, StandingWalls, at_walls, designed, designed_ground
from brimline.design.plan import DrawnBasin, DrawnPond, DrawnTank
from brimline.elements.building import Building

# a basin of 8 x 4 m, its long side at y = 42, sunken, 0.5 m deep with sides of 1 in 3
SQUARE = shapely.box(26, 38, 34, 42)
BASIN = drawn(DrawnBasin, "Basin", SQUARE, depth_m=0.5, side=3.0)


def wall_at(y):
    return StandingWall("the yard wall", shapely.LineString([(10, y), (50, y)]), 0.5)


def found(slope, wall, **rows):
    """Findings by flag, and the designed surface on its grid with the walls that are left."""
    design = designed(Plan(**rows), slope.standing, slope.survey, slope.storms, slope.rules).design
    site = designed_ground(design, (), slope.dem, slope.grid, Building(), 5.0)
    made = site.ready.surface(factor=2)
    walled = StandingWalls.of((wall,), slope.grid).put_on(made.design_m, slope.dem)
    return {one.flag: one for one in at_walls(site, (wall,))}, walled


def rows_of(y):
    return 80 - int(np.ceil(y))


def test_a_dig_through_a_wall_is_told_with_the_length_that_is_lost(slope):
    told, walled = found(slope, wall_at(40.5), basins=(BASIN,))
    assert set(told) == {"cuts-wall"}
    assert told["cuts-wall"].element_id == "Basin"
    lost_m = float(told["cuts-wall"].text.split()[1])
    assert 7.0 < lost_m < 11.0  # 8 m, and the sides that run up to the ground
    over = walled[rows_of(40.5), 10:50] - slope.dem[rows_of(40.5), 10:50]
    assert lost_m == pytest.approx((over < 0.4).sum(), abs=1.5)
    assert over[[0, 1, -2, -1]] == pytest.approx(0.5, abs=1e-4)  # beside it the wall stands on


def test_where_nothing_is_dug_the_wall_stands_on_the_designed_ground(slope):
    told, walled = found(slope, wall_at(60.5), basins=(BASIN,))
    assert told == {}
    over = walled[rows_of(60.5)] - slope.dem[rows_of(60.5)]
    assert over[10:50] == pytest.approx(0.5, abs=1e-4)


def test_earth_against_a_wall_buries_only_what_it_overtops(slope):
    grid = slope.grid
    walls = StandingWalls.of((wall_at(60.5),), grid)
    for heap_m, top_m in ((0.2, 0.5), (0.8, 0.8)):
        made = (slope.dem + heap_m).astype(np.float32)
        over = walls.put_on(made, slope.dem)[rows_of(60.5), 12:48] - slope.dem[rows_of(60.5), 12:48]
        assert over == pytest.approx(top_m, abs=1e-4)
    standing = walls.put_on(slope.dem, slope.dem)
    assert walls.taken_off(standing) == pytest.approx(slope.dem, abs=1e-5)
    # on finer cells it stands as thick
    fine = np.kron(slope.dem, np.ones((2, 2), dtype=np.float32))
    rise = walls.put_on(fine, fine, 2) - fine
    assert rise.reshape(80, 2, 60, 2).min(axis=(1, 3)) == pytest.approx(
        standing - slope.dem, abs=1e-5
    )


def test_a_dig_deeper_than_it_is_far_from_a_wall_undermines_it(slope):
    # sides of 1 in 0.1: 0.8 m deep and more close to its edge; the wall 0.4 m off, then 2.5 m
    steep = drawn(DrawnBasin, "Basin", SQUARE, depth_m=1.0, side=0.1)
    told, _ = found(slope, wall_at(42.9), basins=(steep,))
    assert "undermines-wall" in told
    assert "the yard wall" in told["undermines-wall"].text
    assert "undermines-wall" not in found(slope, wall_at(45.5), basins=(steep,))[0]


@pytest.mark.parametrize(("off_m", "flags"), [(1.0, {"undermines-wall"}), (3.0, set())])
def test_the_open_pit_of_a_tank_undermines_a_wall_beside_it(slope, off_m, flags):
    # 0.3 m of cover, 1 m of tank, 0.3 m of rim, 0.1 m of bedding: 1.7 m deep; half its bottom is
    # (sqrt(2) + 0.6) / 2 = 1.0 m
    tank = drawn(DrawnTank, "Tank", shapely.Point(30, 50), cover_m=0.3, volume_m3=2.0, height_m=1.0)
    told, _ = found(slope, wall_at(51.0 + off_m), tanks=(tank,))
    assert set(told) == flags


def test_earth_heaped_near_a_wall_is_told(slope):
    pond = drawn(DrawnPond, "Pond", shapely.Point(30, 40).buffer(5), depth_m=0.8, freeboard_m=0.3,
                 edge="bank")  # fmt: skip
    told, _ = found(slope, wall_at(32.5), ponds=(pond,))  # below it, where its bank stands
    assert "loads-wall" in told
    far = replace(pond, shape=shapely.Point(30, 60).buffer(5))
    assert found(slope, wall_at(32.5), ponds=(far,))[0] == {}
