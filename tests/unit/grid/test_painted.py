"""Values laid on cells: where areas overlap, the later one counts, everywhere that reads them."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from brimline.balance.planted import ZoneRow, planted_zones
from brimline.balance.rules import YearRules
from brimline.design.cover import CoverArea, SoilArea, UsualGround, covered_ground
from brimline.design.standing import standing_ground
from brimline.drainage.hollows import hollow_outlines
from brimline.grid import Grid
from brimline.grid.shapes import outlines, painted
from brimline.grid.tiles import Window
from brimline.inputs.year import textures_of
from brimline.rainfall import SOIL_GROUPS

GRID = Grid(4, 6, 1.0, 0.0, 4.0, "EPSG:32633")
LEFT, RIGHT = shapely.box(0, 0, 4, 4), shapely.box(2, 0, 6, 4)
BOTH = (2, 3)  # columns that lie in both


def test_the_later_shape_counts_and_what_is_given_stays_as_it_was():
    base = np.full(GRID.shape, 9.0, dtype=np.float32)
    found = painted(base, [(LEFT, 1.0), (RIGHT, 2.0), (shapely.Polygon(), 3.0)], GRID)
    assert found[0].tolist() == [1, 1, 2, 2, 2, 2]
    assert (base == 9).all()
    assert painted(base, [], GRID) is not base


def test_no_ground_at_all_has_no_outlines():
    assert outlines(np.zeros((0, 0), dtype=np.int32), GRID) == {}


def test_ground_without_a_hollow_near_the_site_has_no_outlines_of_hollows():
    near = Window(0, 0, 2, 2)
    labels = np.zeros(GRID.shape, dtype=np.int32)
    labels[3, 5] = 1
    assert hollow_outlines(labels, np.array([0]), GRID, near=near) == {}


@pytest.mark.parametrize("order", [("A", "D"), ("D", "A")])
def test_of_overlapping_soils_the_later_counts_in_storms(order):
    soils = [SoilArea(LEFT, order[0], "", 5.0), SoilArea(RIGHT, order[1], "", 9.0)]
    usual = UsualGround("pasture", "fair", "B")
    codes = covered_ground((), soils, GRID, usual).soil_codes
    assert set(codes[:, BOTH].ravel()) == {1 + SOIL_GROUPS.index(order[1])}
    flat = np.zeros(GRID.shape, dtype=np.float32)
    soak = standing_ground(flat, flat, GRID, soils).soak_mm_per_h
    assert (soak[:, BOTH] == 9).all()


@pytest.mark.parametrize("order", [("roof", "pasture"), ("pasture", "roof")])
def test_of_overlapping_covers_the_later_counts(order):
    covers = [CoverArea(LEFT, order[0]), CoverArea(RIGHT, order[1])]
    found = covered_ground(covers, (), GRID, UsualGround("woods", "fair", "B"))
    assert {found.classes[code - 1].cover_name for code in found.cover_codes[0, BOTH]} == {order[1]}


@pytest.mark.parametrize("order", [("sand", "clay"), ("clay", "sand")])
def test_of_overlapping_soils_the_later_counts_through_the_year(order):
    rows = gpd.GeoDataFrame({"texture": order}, geometry=[LEFT, RIGHT], crs=GRID.crs)
    zone = ZoneRow("Z", "row 1", shapely.box(2, 0, 4, 4), "small vegetables")
    (found,) = planted_zones([zone], textures_of(rows), (), YearRules()).zones
    assert found.textures == {order[1]: 1.0}
