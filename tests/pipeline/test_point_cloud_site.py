"""A point cloud as the elevation: where it has points, its voids and steps, and its page."""

from __future__ import annotations

import laspy
import numpy as np
import pytest
from pyproj import CRS

VOID = (slice(62, 71), slice(41, 51))  # rows and columns that surely hold no point


@pytest.fixture
def cloud(site):
    """Two flight lines over the valley, the eastern one 0.2 m too high, with a void."""
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0, site.size, (2, 4 * site.size**2))
    line = np.where((x > 100) | ((x > 60) & (rng.random(x.size) < 0.5)), 8, 3)
    row, col = (site.size - y).astype(int), x.astype(int)
    there = ~((row >= 60) & (row < 72) & (col >= 40) & (col < 52)) & (row < site.size)
    x, y, line, row, col = (part[there] for part in (x, y, line, row, col))
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.offsets, header.scales = [site.west, site.north, 0.0], [0.001] * 3
    header.add_crs(CRS.from_user_input(site.crs))
    header.global_encoding.gps_time_type = laspy.header.GpsTimeType.STANDARD
    las = laspy.LasData(header)
    las.x, las.y = site.west + x, site.north - site.size + y
    las.z = site.dem[row, col] + np.where(line == 8, 0.2, 0.0)
    las.classification, las.point_source_id = np.full(x.size, 2), line.astype(np.uint16)
    las.gps_time = np.full(x.size, 14_605 * 86_400 - 1e9)  # 2020-01-01
    las.write(site.folder / "terrain.laz")
    site.inputs["elevation"] = "terrain.laz"
    site.tables = (
        "[terrain]\ncell_m = 1.0\nlevel_steps = true\ncanopy = true\n"
        '[survey]\nsource = "a flight"\n'
    )
    return site


@pytest.mark.slow  # it makes the pages
def test_density_voids_error_and_page_of_a_cloud(cloud):
    done = cloud.run("--until", "measured", "--only", "rasters", "--only", "pages")
    assert done.code == 0, done.err
    assert "levelled, at most" in done.err
    points, void_m, error_m = (
        cloud.raster(name) for name in ("ground_points", "void_m", "level_error_m")
    )
    assert 3 < points[points > 0].mean() < 5
    assert not points[VOID].any()
    assert np.nanmax(void_m[points > 0]) == 0
    assert 5.5 <= np.nanmax(void_m[VOID]) <= 7  # in the middle of 12 m
    assert error_m[66, 46] > 1.05 * error_m[20, 20] > 0
    page = (cloud.results / "survey.html").read_text(encoding="utf-8")
    for words in ("a flight", "2020-01-01, by the time of the points", "flight lines", "Levelled",
                  "Ground between the points"):  # fmt: skip
        assert words in page
