"""Local grids that known points put on the Earth, against geodesics."""

import math

import geopandas as gpd
import pytest
import shapely
from pyproj import Geod

from brimline.config import Terrain
from brimline.config.tables import KnownPoint
from brimline.errors import InputError
from brimline.grid import Grid
from brimline.io.crs import LOCAL, canonical, is_local, is_own_grid, parsed, same, settled
from brimline.io.geographic import grid_north_deg, lon_lat, on_earth
from brimline.io.placed import placed_crs, stated_crs
from brimline.io.vectors import read_layer

EARTH = Geod(ellps="WGS84")
ORIGIN = (8.54, 47.1)  # of the grid's 100, 50


def on_the_earth(easting, northing, north_deg):
    """Walk from the origin along the grid's axes."""
    away = complex(easting - 100, northing - 50)
    bearing = north_deg + math.degrees(math.atan2(away.real, away.imag))
    return EARTH.fwd(*ORIGIN, bearing, abs(away))[:2]


def known(easting, northing, north_deg, name="post", off_deg=0.0):
    longitude, latitude = on_the_earth(easting, northing, north_deg)
    return KnownPoint(
        name=name, easting_m=easting, northing_m=northing, longitude_deg=longitude + off_deg,
        latitude_deg=latitude,
    )  # fmt: skip


@pytest.mark.parametrize("north_deg", [0.0, 25.0, -70.0, 179.0])
def test_two_known_points_put_every_other_place_where_it_is(north_deg):
    crs, found_deg, told = placed_crs([known(100, 50, north_deg), known(148, 82, north_deg)])
    assert found_deg == pytest.approx(north_deg, abs=0.01)
    assert told.severity == "notice"
    assert on_earth(crs)
    assert is_own_grid(crs)
    places = [(120.0, 75.0), (100.0, 50.0), (90.0, 90.0)]
    points = gpd.GeoSeries([shapely.Point(*place) for place in places], crs=crs)
    longitude, latitude = lon_lat(points)
    for at, (easting, northing) in enumerate(places):
        there = on_the_earth(easting, northing, north_deg)
        assert EARTH.inv(*there, longitude[at], latitude[at])[2] < 0.01
    grid = Grid(10, 10, 1.0, 100.0, 60.0, crs)
    turn = (grid_north_deg(grid) - north_deg + 180) % 360 - 180
    assert turn == pytest.approx(0.0, abs=0.01)


def test_points_that_do_not_fit_are_told_and_swapped_ones_refused():
    one, other = known(100, 50, 0), known(148, 82, 0)
    *_, told = placed_crs([one, known(148, 82, 0, off_deg=2e-5)])  # 1.5 m
    assert told.severity == "warning"
    off_m = float(told.message.split(" m from")[0].split()[-1])
    assert off_m == pytest.approx(1.518 * 48 / math.hypot(48, 32), abs=0.02)  # its part along them
    with pytest.raises(InputError, match="changed places"):
        placed_crs([one, known(248, 182, 0, off_deg=-1.5e-3)])
    with pytest.raises(InputError, match="two points at least"):
        placed_crs([one])
    with pytest.raises(InputError, match='not "local"'):
        stated_crs(Terrain(crs="EPSG:32632", known_points=(one, other)))
    assert stated_crs(Terrain(crs="local")) == "local"


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_layers_in_the_sites_own_coordinates_are_taken_as_they_are(tmp_path):
    crs, *_ = placed_crs([known(100, 50, 30), known(148, 82, 30)])
    shape = shapely.box(101, 51, 147, 81)
    for name, own in (("none.geojson", None), ("local.gpkg", LOCAL)):
        path = tmp_path / name
        gpd.GeoDataFrame(geometry=[shape], crs=own).to_file(path)
        read = read_layer(path, kinds={"polygon"}, crs=crs)
        assert not read.errors
        assert read.frame.geometry[0].equals(shapely.MultiPolygon([shape]))
        assert read.frame.crs == parsed(crs)
    # one with a real reference system is brought there, where it could not be before
    there = [shapely.Point(*on_the_earth(*place, 30)) for place in ((120, 75), (130, 60))]
    path = tmp_path / "phone.gpkg"
    gpd.GeoDataFrame(geometry=there, crs=4326).to_file(path)
    at = read_layer(path, kinds={"point"}, crs=crs).frame.geometry[0]
    assert (at.x, at.y) == pytest.approx((120, 75), abs=0.01)
    assert settled(parsed(LOCAL), crs, source="dem.tif")[0] == parsed(crs)


def test_a_placed_grid_is_one_text_and_no_other_grid():
    crs, *_ = placed_crs([known(100, 50, 30), known(148, 82, 30)])
    assert canonical(parsed(crs)) == crs
    assert not is_local(crs)
    assert same(parsed(crs), parsed(LOCAL))
    turned, *_ = placed_crs([known(100, 50, 60), known(148, 82, 60)])
    assert not same(parsed(crs), parsed(turned))
