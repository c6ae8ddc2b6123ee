"""A dam across a valley, against the pyramid and the prism of a straight V."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from brimline.choose.ponds.drawn import dam_row
from brimline.design import Plan, placed_elements, running_ground, ways_out
from brimline.design.extent import extents_of
from brimline.design.flooded import flooded
from brimline.design.plan import DrawnDam
from brimline.design.standing import StandingGround
from brimline.elements import Dam
from brimline.elements.building import Building, SillAt, set_out, shapes_of
from brimline.elements.building.setting_out import StakeSpacing
from brimline.grid import Grid
from brimline.lines.sample import levels_of
from brimline.terrain.earthwork import earth_by_label
from brimline.terrain.shaping import design

SIZE, MIDDLE, SIDE, FALL = 201, 100, 0.4, 0.04
GRID = Grid(SIZE, SIZE, 1.0, 0.0, float(SIZE))
ROW, COL = np.indices((SIZE, SIZE), dtype=np.float64)
VALLEY = (100 - FALL * ROW + SIDE * np.abs(COL - MIDDLE)).astype(np.float32)
DAM_ROW, DEPTH, OVER = 140, 2.0, 0.6
FLOOR = 100 - FALL * DAM_ROW
Y = SIZE - DAM_ROW - 0.5
LINE = shapely.LineString([(MIDDLE + 0.5 - 12, Y), (MIDDLE + 0.5 + 12, Y)])


def standing() -> StandingGround:
    slope = np.full(VALLEY.shape, 40.0, dtype=np.float32)
    return StandingGround(GRID, VALLEY, slope, np.full(VALLEY.shape, np.nan, np.float32), ())


def row(**changed) -> DrawnDam:
    drawn = DrawnDam("dam", LINE, DEPTH, 0.0, 0.0, 2.0, 0.3, 0.0, 1.0, crest_level_m=FLOOR + 2.6)
    return replace(drawn, **changed)


def placed(**changed):
    found, problems = placed_elements(
        [row(**changed)], standing(), SimpleNamespace(infiltration="")
    )
    assert not problems, problems
    return found[0]


def test_a_straight_v_holds_its_pyramid():
    """L T H / 6 (FAO Irrigation and Drainage Paper 64, for a V exact): 10 × 50 × 2 / 6 = 166.7.

    The bank has no width here, so that nothing of the pyramid is taken by it.
    """
    dam = placed().element.shape
    length, throwback = 2 * DEPTH / SIDE, DEPTH / FALL
    assert dam.volume_m3 == pytest.approx(length * throwback * DEPTH / 6, rel=0.06)
    assert dam.stages.area_at(dam.spill_level_m) == pytest.approx(length * throwback / 2, rel=0.06)
    assert dam.outline.area == pytest.approx(length * throwback / 2, rel=0.15)  # drawn of cells
    element = placed().element
    # its dry side runs out 2 to 1 on ground that falls on: h = 2.6 + 0.04 × 2 h
    assert element.embankment_height_m == pytest.approx((DEPTH + OVER) / (1 - 2 * FALL), abs=0.04)
    assert element.held_above_ground_m3 > element.storage_m3  # all of it stands behind the fill


def test_the_bank_takes_some_of_the_water():
    plain, wide = placed().element, placed(top_m=3.0, upstream_side=3.0).element
    assert wide.storage_m3 < 0.85 * plain.storage_m3
    assert wide.stages.floor_m > FLOOR  # its toe covers the lowest ground


def test_a_line_that_does_not_close_the_valley_is_refused():
    short = shapely.LineString([(MIDDLE - 3, Y), (MIDDLE + 4, Y)])
    found, problems = placed_elements(
        [row(shape=short)], standing(), SimpleNamespace(infiltration="")
    )
    assert not found
    assert "run round an end" in problems[0].message
    with pytest.raises(ValueError, match="run round an end"):
        flooded(VALLEY, GRID, short, FLOOR + 2, FLOOR + 2.6, 3.0, (3.0, 2.0))


def test_its_bank_is_the_earth_of_a_v():
    """Fill of a V: top width C, batters a and b, both sides: L (C H / 2 + S H² / 6) with S = a + b.

    The exact integral for a straight valley; FAO 64's 0.216 H L (2 C + H S) is its safe side.
    """
    one = placed(top_m=2.0, upstream_side=3.0, downstream_side=2.0)
    high, long = DEPTH + OVER, 2 * (DEPTH + OVER) / SIDE
    shapes = shapes_of(one.element, one.shape, [], ground, Building(settlement=0.0))
    # the valley falls on through the bank: its fill is a little more below, less above
    piece = design(VALLEY, GRID, shapes, limit_m=40.0).around(1, factor=4)
    earth = earth_by_label(
        piece.ground_m, piece.design_m, piece.grid.cell_area_m2, piece.dug_by, piece.heaped_by, 1
    )[0]
    assert earth.fill_m3 == pytest.approx(long * (2.0 * high / 2 + 5.0 * high**2 / 6), rel=0.12)
    assert earth.cut_m3 == pytest.approx(0.0, abs=0.1)


def ground(x, y):
    return levels_of(VALLEY, GRID, x, y)


def test_it_spills_past_its_end_over_ground_as_it_lies():
    one = placed(top_m=3.0, upstream_side=3.0)
    codes = np.full(VALLEY.shape, 6, dtype=np.uint8)
    codes[-1] = 8
    running = running_ground([one], (), codes, GRID)
    (way,) = ways_out([one], Plan(), running, standing()).ways
    place = shapely.Point(way.line.coords[0])
    assert place.x > LINE.coords[-1][0]
    assert float(ground(np.array([place.x]), np.array([place.y]))[0]) >= one.element.spill_level_m
    out = shapely.Point(way.line.coords[1])
    assert float(ground(np.array([out.x]), np.array([out.y]))[0]) <= one.element.spill_level_m
    assert out.y < Y  # on the dry side, clear of the bank's toe
    assert out.distance(LINE) > 1.5
    sill = SillAt(way.link.outlet.crest_m, 4.0, place)
    shapes = shapes_of(one.element, one.shape, [sill], ground, Building())
    ready = design(VALLEY, GRID, shapes, limit_m=40.0)
    for channel in shapes[1:]:
        along = shapely.line_interpolate_point(channel.line, np.linspace(0, 1, 30), normalized=True)
        x, y = shapely.get_coordinates(along).T
        # water at the spill level finds an open way past the bank, and none over it
        assert ready.at(x, y, ground(x, y)).level_m.max() <= one.element.spill_level_m + 0.01
        assert not channel.line.buffer(2.0).intersects(LINE.centroid)
    assert ready.at(x, y, ground(x, y)).level_m[-1] < one.element.spill_level_m  # and it falls


def test_it_is_staked_along_its_crest():
    one = placed(top_m=3.0, upstream_side=3.0)
    shapes = shapes_of(one.element, one.shape, [], ground, Building())
    stakes = set_out(
        design(VALLEY, GRID, shapes, limit_m=40.0), 1, ground, None, StakeSpacing(interval_m=2.0)
    )
    crest = [stake for stake in stakes if stake.role == "crest" and not stake.side]
    assert len(crest) >= 5
    assert all(abs(shapely.Point(s.x, s.y).distance(LINE)) < 0.01 for s in crest)
    assert {round(s.design_m, 2) for s in crest[1:-1]} == {round(FLOOR + 2.6, 2)}


def test_its_extent_holds_water_and_bank():
    one = placed(top_m=3.0, upstream_side=3.0)
    extent = extents_of([one], standing(), Building())["dam"]
    assert extent.earth.area > extent.water.area
    assert extent.earth.difference(extent.water).intersects(LINE)


def test_a_place_becomes_a_line_that_ends_where_it_spills():
    water = shapely.box(90, Y + 1, 110, Y + 40)  # upstream is north, so left looking down is east
    section = {"top_m": 3.0, "upstream_side": 3.0, "downstream_side": 2.0}
    for side, east in (("left", True), ("right", False)):
        change = dam_row("p1", LINE, water, FLOOR + 2, FLOOR + 2.6, section, side)
        line = shapely.from_wkt(change.shape_wkt)
        assert (line.coords[-1][0] > MIDDLE) is east
        assert line.length == pytest.approx(LINE.length + 4.0)
    assert (change.layer, change.row, change.added) == ("drawn_dams", "dam p1", True)
    assert change.values["crest_level_m"] == round(FLOOR + 2.6, 3)
    assert isinstance(placed().element.shape, Dam)
