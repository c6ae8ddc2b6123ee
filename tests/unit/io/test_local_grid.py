"""A grid of the site's own: read as such, brought to metres, never mixed with a place on Earth."""

import warnings

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import CRS
from rasterio.transform import from_origin
from tests.unit.io.test_levels import table

from brimline.errors import InputError
from brimline.io import crs as crs_of
from brimline.io.elevation import read_elevation, run_crs
from brimline.io.exchange_csv import write_points_csv
from brimline.io.frames import conformed
from brimline.io.vectors import read_layer
from brimline.layers import layer

IN_FEET = 'LOCAL_CS["Yard",UNIT["US survey foot",0.304800609601219]]'
SQUARE = shapely.box(0, 0, 40, 30)


def drawn(path, crs, shape=SQUARE):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # of a file without a reference system
        gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=crs).to_file(path)
    return path


def boundary(path, crs="local"):
    return read_layer(path, kinds={"polygon"}, crs=crs_of.canonical(crs_of.parsed(crs)))


@pytest.mark.parametrize(
    "said", ["local", " Local ", crs_of.LOCAL, 'LOCAL_CS["Yard",UNIT["metre",1]]']
)
def test_every_local_grid_in_metres_is_one_and_the_same(said):
    own = crs_of.parsed(said)
    assert crs_of.canonical(own) == crs_of.LOCAL
    assert crs_of.same(own, CRS.from_wkt(crs_of.LOCAL))
    assert crs_of.is_usable(own)


def test_a_local_grid_in_feet_is_another_until_it_is_brought_to_metres(tmp_path):
    own = crs_of.parsed(IN_FEET)
    assert not crs_of.same(own, CRS.from_wkt(crs_of.LOCAL))
    read = boundary(drawn(tmp_path / "b.gpkg", IN_FEET))
    assert read.frame.geometry[0].area == pytest.approx(1200 * 0.3048006096**2)


@pytest.mark.parametrize("name", ["b.gpkg", "b.geojson", "b.fgb", "b.shp"])
def test_a_boundary_in_the_same_coordinates_needs_no_crs(tmp_path, name):
    read = boundary(drawn(tmp_path / name, None))
    assert [p.message for p in read.problems if "reference" in p.message] == []
    assert read.frame.geometry[0].area == pytest.approx(1200)
    assert crs_of.is_local(read.frame.crs)


def test_a_layer_with_a_place_on_the_earth_is_refused_beside_a_local_grid(tmp_path):
    read = boundary(drawn(tmp_path / "b.gpkg", "EPSG:32633"))
    assert not len(read.frame)
    assert "local grid" in read.problems[0].message
    assert "terrain.crs" in read.problems[0].mend


def test_a_layer_in_a_local_grid_is_refused_beside_a_place_on_the_earth(tmp_path):
    read = boundary(drawn(tmp_path / "b.gpkg", crs_of.LOCAL), crs="EPSG:32633")
    assert not len(read.frame)
    assert 'terrain.crs = "local"' in read.problems[0].mend


@pytest.mark.parametrize("unit", [1.0, 0.3048006096012192])
def test_a_raster_in_a_local_grid_is_read_in_metres(tmp_path, unit):
    own = IN_FEET if unit != 1 else 'LOCAL_CS["Yard",UNIT["metre",1]]'
    levels = np.add.outer(np.arange(20.0), np.arange(30.0)).astype(np.float32)
    path = tmp_path / "dem.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=30, height=20, count=1, dtype="float32", crs=own,
        transform=from_origin(100, 50, 0.5, 0.5),
    ) as file:  # fmt: skip
        file.write(levels, 1)
    read = read_elevation(path, vertical_unit="m")
    assert read.grid.crs == run_crs(path) == crs_of.LOCAL
    assert read.grid.cell_m == pytest.approx(0.5 * unit)
    assert read.grid.west_m == pytest.approx(100 * unit)
    np.testing.assert_array_equal(read.dem, levels)


def test_levels_in_degrees_are_refused_in_a_local_grid(tmp_path):
    rng = np.random.default_rng(1)
    path = table(
        tmp_path / "l.csv", 14 + rng.uniform(0, 3e-4, 30), 47 + rng.uniform(0, 3e-4, 30),
        rng.uniform(1, 2, 30), head="name,lon,lat,level,code",
    )  # fmt: skip
    with pytest.raises(InputError) as told:
        read_elevation(path, crs="local")
    assert "local" in str(told.value)


def test_stakes_in_a_local_grid_have_no_longitude(tmp_path):
    rows = gpd.GeoDataFrame(
        {"element_id": ["a"], "stake_id": ["a 1"], "chainage_m": [0.0], "ground_m": [1.0],
         "design_m": [1.0], "cut_m": [0.0], "build_m": [1.0], "role": ["floor"], "offset_m": [0.0]},
        geometry=[shapely.Point(3, 4, 1)], crs=crs_of.LOCAL,
    )  # fmt: skip
    rows = conformed(rows, layer("stakes"))
    write_points_csv(tmp_path / "s.csv", rows, layer("stakes"))
    head, row = (tmp_path / "s.csv").read_text().splitlines()
    assert "longitude_deg" not in head
    assert row.endswith("3.000,4.000")
