"""Elements as earth: what they are built to holds what their storage says, up to their sill."""

import numpy as np
import pytest
import shapely

from brimline.elements import Basin, Drain, Parabola, Pond, Soak, Swale, Tank, Trapezoid
from brimline.elements.building import Building, SillAt, shapes_of, uphill_left
from brimline.grid import Grid
from brimline.terrain.conditioning import fill
from brimline.terrain.shaping import Bank, Channel, design

SIZE, CELL = 80, 0.5
GRID = Grid(int(SIZE / CELL), int(SIZE / CELL), CELL, 0.0, float(SIZE))
SLOPE = 0.08
LINE = shapely.LineString([(20, 40), (60, 40)])
WINGED, PLAIN = Building(), Building(returns_m=0.0)
POND = shapely.Point(40, 40).buffer(9, quad_segs=32)


def ground(_x, y):
    """Ground that rises northwards, at 100 m on the line y = 40."""
    return 100 + SLOPE * (y - 40)


def held(element, drawn, sills, how=WINGED, settled=True):
    """Water level where the element was dug when it is filled to the brim, and its volume."""
    x, y = GRID.xy(*np.indices(GRID.shape))
    dem = ground(x, y).astype(np.float32)
    shapes = shapes_of(element, drawn, sills, ground, how)
    ready = design(dem, GRID, shapes)
    surface = ready.surface(factor=2, built=not settled).design_m
    filled = fill(surface)
    deep = np.unravel_index(np.argmax(filled - surface), surface.shape)
    depth = filled.astype(float) - surface
    return float(filled[deep]), float(depth.sum() * GRID.cell_area_m2), ready


def swale(**changes):
    usual = {"depth_m": 0.5, "spill_over_line_m": 0.0, "freeboard_m": 0.1}
    return Swale("e", 100.0, LINE.length, 100 * SLOPE, **(usual | changes)).element()


@pytest.mark.parametrize("form", ["trapezoid", "vee", "parabola"])
def test_a_swale_holds_its_storage_up_to_its_sill(form):
    element = swale(form=form)
    sills = [SillAt(100.0, 2.0, shapely.Point(60, 40))]
    level, volume, _ = held(element, LINE, sills)
    assert level == pytest.approx(100.0, abs=0.02)
    # storage is that of the section times the length; round ends add a little
    assert volume == pytest.approx(element.storage_m3, rel=0.06)


def test_wings_keep_water_that_stands_above_the_line():
    # The sill lies 0.15 m over the line: without wings the water leaves round the ends.
    element = swale(spill_over_line_m=0.15)
    sills = [SillAt(100.15, 2.0, shapely.Point(40, 40))]
    level, volume, _ = held(element, LINE, sills)
    assert level == pytest.approx(100.15, abs=0.02)
    assert volume == pytest.approx(element.storage_m3, rel=0.10)
    leaking, _, _ = held(element, LINE, sills, PLAIN)
    assert leaking < 100.08


def test_the_mound_has_the_settled_crest_and_is_built_higher():
    element = swale()
    shapes = shapes_of(element, LINE, [], ground, PLAIN)
    bank = next(shape for shape in shapes if isinstance(shape, Bank))
    assert bank.crest.level_m == (element.crest_level_m,)
    assert bank.settlement == pytest.approx(0.10)
    assert bank.offset_m < 0 < next(s for s in shapes if isinstance(s, Channel)).offset_m


def test_lines_are_turned_so_that_uphill_is_left():
    assert uphill_left(LINE, ground).equals_exact(LINE, 0)
    assert uphill_left(LINE.reverse(), ground).equals_exact(LINE, 0)


def test_the_direction_in_which_a_swale_is_drawn_does_not_matter():
    element, sills = swale(), [SillAt(100.0, 2.0, shapely.Point(59, 40))]
    one = held(element, LINE, sills)[:2]
    other = held(element, LINE.reverse(), sills)[:2]
    assert one == pytest.approx(other, rel=1e-6)


def test_a_pond_holds_its_storage_up_to_its_sill():
    # Its waterline is drawn over falling ground: a bank closes the low side, a sill opens it.
    element = Pond("e", POND, 100.0, 1.5, 2.0, shelf_width_m=0.5).element()
    sills = [SillAt(100.0, 2.0, shapely.Point(40, 31))]
    level, volume, ready = held(element, POND, sills)
    assert level == pytest.approx(100.0, abs=0.03)
    assert volume == pytest.approx(element.storage_m3, rel=0.03)
    assert ready.open_ended == ()
    without, _, _ = held(element, POND, [])
    assert without == pytest.approx(element.crest_level_m, abs=0.03)


def test_a_basin_is_dug_to_the_floor_of_its_filling():
    element = Basin("e", POND, 100.0, Soak(10.0, 2.0), 0.6).element()
    level, volume, _ = held(element, POND, [SillAt(100.0, 1.0, shapely.Point(40, 31))])
    assert level == pytest.approx(100.0, abs=0.02)
    assert volume == pytest.approx(element.storage_m3, rel=0.04)


@pytest.mark.parametrize("section", [Trapezoid(0.5, 2.0), Parabola(2.0, 0.5)])
def test_a_drain_falls_along_its_bed_whichever_way_it_is_turned(section):
    drawn = shapely.LineString([(60, 40), (20, 40)])  # its uphill side is to the right
    element = Drain("e", 99.6, 99.4, drawn.length, section, 0.5).element()
    x, y = GRID.xy(*np.indices(GRID.shape))
    shapes = shapes_of(element, drawn, [], ground, Building())
    ready = design(ground(x, y).astype(np.float32), GRID, shapes)
    along = np.array([60.0, 40.0, 20.0])
    bed = ready.at(along, np.full(3, 40.0), np.full(3, 100.0)).level_m
    np.testing.assert_allclose(bed, [99.6, 99.5, 99.4], atol=1e-9)
    # the low side is banked to the depth
    lip = ready.at(np.array([40.0]), np.array([40 - 1.25 - 0.5]), np.array([99.8])).level_m
    assert lip[0] >= 99.5 + 0.5 - 1e-9 or section.top_width_m(0.5) < 2.5


def test_tanks_are_no_earth():
    tank = Tank("t", 100.0, 10.0, 2.0).element()
    assert shapes_of(tank, shapely.Point(0, 0), [], ground, Building()) == []
