"""Points surveyed on site: read as people and controllers write them, or refused with the cause."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from brimline.errors import Severity
from brimline.io.surveyed import read_surveyed
from brimline.io.surveyed_place import misplaced, wrong_unit
from brimline.io.vectors import VectorSource
from brimline.units import FOOT_M

CRS = "EPSG:32626"
BOX = (350_000.0, 5_209_800.0, 350_200.0, 5_210_000.0)


def read(tmp_path, text, name="built.csv", **options):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_surveyed(VectorSource(path), run_crs=CRS, **options)


@pytest.mark.parametrize(
    "text",
    [
        "name,easting,northing,level,code\nA,350010.5,5209900,125.25,floor\n",
        "Level;Name;Code;Y;X\n125,25;A;floor;5209900;350010,5\n",
        "E\tN\tZ\tpoint\tdescription\n350010.5\t5209900\t125.25\tA\tfloor\n",
        "A,5209900,350010.5,125.25,floor\n",  # name, northing, easting, level, code
        "# by the level\n\nname,x,y,rl,role\nA , 350010.5 , 5209900 , 125.25 , floor\n",
    ],
    ids=["plain", "semicolons and decimal commas", "tabs", "no header", "comments and blanks"],
)
def test_points_are_read_as_they_are_written(tmp_path, text):
    found = read(tmp_path, text)
    assert found.errors == []
    assert (found.x.tolist(), found.y.tolist(), found.level_m.tolist()) == (
        [350010.5], [5209900.0], [125.25],
    )  # fmt: skip
    assert (found.name, found.role) == (("A",), ("floor",))


def test_what_was_assumed_is_told(tmp_path):
    found = read(tmp_path, "A,5209900,350010.5,125.25,floor\n")
    told = " ".join(problem.message for problem in found.problems)
    assert "no header" in told
    assert "does not say its coordinate reference system" in told
    assert all(problem.severity is Severity.NOTICE for problem in found.problems)


def test_longitude_and_latitude_are_brought_to_the_run(tmp_path):
    lon, lat = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(
        350_100, 5_209_900
    )
    found = read(tmp_path, f"name,lon,lat,level\nA,{lon:.9f},{lat:.9f},125\n")
    assert found.x[0] == pytest.approx(350_100, abs=0.01)
    assert found.y[0] == pytest.approx(5_209_900, abs=0.01)


def test_levels_in_feet_are_converted_where_that_is_said(tmp_path):
    found = read(tmp_path, "x,y,z\n350010,5209900,410.105\n", vertical_unit="ft")
    assert found.level_m[0] == pytest.approx(410.105 * 0.3048)
    assert any("feet" in problem.message for problem in found.problems)


def test_a_column_that_is_missing_is_named_with_those_that_are_there(tmp_path):
    found = read(tmp_path, "name,easting,northing\nA,1,2\n")
    (error,) = found.errors
    assert "no column for the level" in error.message
    assert "name, easting, northing" in error.message


def test_a_file_that_is_missing_or_empty_is_refused(tmp_path):
    assert read_surveyed(VectorSource(tmp_path / "none.csv"), run_crs=CRS).errors
    assert "is empty" in read(tmp_path, "\n").errors[0].message


def test_a_layer_gives_levels_by_column_or_height_and_names_rows_without(tmp_path):
    path = tmp_path / "built.gpkg"
    shapes = [
        shapely.Point(350_010, 5_209_900, 125.0),
        shapely.Point(350_020, 5_209_900, 0.0),
        shapely.Point(350_030, 5_209_900),
    ]
    frame = gpd.GeoDataFrame({"level_m": [None, 126.0, None]}, geometry=shapes, crs=CRS)
    frame.to_file(path, layer="shots", driver="GPKG")
    found = read_surveyed(VectorSource(path), run_crs=CRS)
    assert found.level_m[:2].tolist() == [125.0, 126.0]
    (error,) = found.errors
    assert "no level" in error.message
    assert error.place == "row 3"


# --- where and in what unit


@pytest.fixture
def inside():
    rng = np.random.default_rng(5)
    return rng.uniform(350_000, 350_200, 30), rng.uniform(5_209_800, 5_210_000, 30)


def test_points_on_the_site_are_in_their_place(inside):
    assert misplaced(*inside, BOX, CRS, "built.csv") is None


@pytest.mark.parametrize(
    ("moved", "told"),
    [
        (lambda x, y: (y, x), "changed places"),
        (lambda x, y: (x / FOOT_M, y / FOOT_M), "are in feet"),
        (lambda x, y: pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
         .transform(x, y), "longitude and latitude in degrees"),
        (lambda x, y: pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
         .transform(x, y)[::-1], "latitude and longitude in degrees"),
        (lambda x, y: pyproj.Transformer.from_crs(CRS, "EPSG:32627", always_xy=True)
         .transform(x, y), "UTM zone 27N"),
        (lambda x, y: (x + 5000, y), "no usual cause"),
    ],
)  # fmt: skip
def test_a_wrong_place_is_named_with_its_cause(inside, moved, told):
    found = misplaced(*moved(*inside), BOX, CRS, "built.csv")
    assert found is not None
    assert found.severity is Severity.ERROR
    assert told in found.message
    assert "30 of 30 points" in found.message


LEVELS = np.array([121.3, 125.0, 130.7, 128.4, 126.6])


@pytest.mark.parametrize(
    ("levels", "unit"),
    [
        (LEVELS / 0.3048 + 0.1, "feet"),
        (LEVELS * 1000, "millimetres"),
        (LEVELS * 0.3048, "metres that were taken for feet"),
        (LEVELS + 0.05, ""),
        (LEVELS + 47.0, ""),  # a geoid's height is a shift, not a unit
        (LEVELS - 120 + 47.0, ""),
    ],
)
def test_a_wrong_unit_is_told_from_a_shift(levels, unit):
    assert wrong_unit(levels, LEVELS) == unit


def test_a_geoid_s_height_near_the_sea_is_no_unit():
    low = LEVELS - 120
    assert wrong_unit(low + 47.0, low) == ""
    assert wrong_unit(low / 0.3048, low) == "feet"
