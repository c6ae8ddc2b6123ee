"""Real airborne LiDAR in feet: read, converted, and laid on the ground that it classifies."""

import os
from pathlib import Path

import laspy
import numpy as np
import pytest
from pyproj import CRS, Transformer
from scipy.interpolate import griddata

from brimline.errors import Severity
from brimline.io.elevation import read_elevation
from brimline.units import FOOT_M, US_SURVEY_FOOT_M

FOLDER = os.environ.get("BRIMLINE_DATA")
pytestmark = [
    pytest.mark.realdata,
    pytest.mark.skipif(FOLDER is None, reason="BRIMLINE_DATA names no folder of survey data"),
]
CLOUDS = [
    # name, foot of its map and levels [m], as its coordinate system states
    ("valley_feet.laz", FOOT_M),
    ("highland_ftus.las", US_SURVEY_FOOT_M),
]


def path_of(name):
    return Path(FOLDER) / name


def points_of(name):
    las = laspy.read(path_of(name))
    ground = np.asarray(las.classification) == 2
    return np.column_stack([las.x, las.y, las.z])[ground], las.header.parse_crs()


@pytest.mark.parametrize(("name", "foot_m"), CLOUDS)
def test_surface_follows_the_ground_points_and_an_independent_interpolation(name, foot_m):
    read = read_elevation(path_of(name), cell_m=1.0)
    points, _ = points_of(name)
    x, y, level = (points * foot_m).T
    row, col = read.grid.cell(x, y)
    on = read.grid.holds(row, col)
    assert on.all()  # every point falls on the grid: map coordinates were converted rightly
    apart = read.dem[row, col] - level
    apart = apart[np.isfinite(apart)]
    assert abs(np.median(apart)) < 0.01
    assert np.percentile(np.abs(apart), 95) < 0.30  # within a cell of 1 m of rough ground
    # scipy over all points, none averaged: another way to the same surface
    cell_x, cell_y = read.grid.xy(*np.indices(read.grid.shape))
    peer = griddata(np.column_stack([x, y]), level, (cell_x, cell_y), method="linear")
    apart = (read.dem - peer)[np.isfinite(read.dem) & np.isfinite(peer)]
    assert abs(apart.mean()) < 0.01
    assert apart.std() < 0.08


@pytest.mark.parametrize(("name", "foot_m"), CLOUDS)
def test_the_place_on_the_earth_is_kept(name, foot_m):
    read = read_elevation(path_of(name))
    points, crs = points_of(name)
    to_earth = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    from_run = Transformer.from_crs(CRS(read.grid.crs), crs.geodetic_crs, always_xy=True)
    here = from_run.transform(points[0, 0] * foot_m, points[0, 1] * foot_m)
    np.testing.assert_allclose(
        here, to_earth.transform(points[0, 0], points[0, 1]), atol=1e-8
    )  # a millimetre


def test_what_the_files_say_of_their_heights():
    # highland states US survey feet in its GeoTIFF keys; valley says nothing
    assert not [
        n
        for n in read_elevation(path_of("highland_ftus.las")).notices
        if n.severity is Severity.WARNING
    ]
    valley = read_elevation(path_of("valley_feet.laz"))
    assert any("feet were assumed" in n.message for n in valley.notices)


@pytest.mark.parametrize(
    ("name", "sigma_m"), [("valley_feet.laz", 0.25), ("highland_ftus.las", 0.05)]
)
def test_the_filter_finds_nearly_the_ground_that_was_classified(name, sigma_m, tmp_path):
    las = laspy.read(path_of(name))
    las.classification[:] = 1
    bare = tmp_path / "bare.las"
    las.write(bare)
    apart = read_elevation(bare, cell_m=1.0).dem - read_elevation(path_of(name), cell_m=1.0).dem
    apart = apart[np.isfinite(apart)]
    assert abs(np.median(apart)) < 0.03
    assert apart.std() < sigma_m
