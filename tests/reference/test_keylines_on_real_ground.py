"""Valleys, ridges, keylines and cultivation lines on surveyed ground."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from matplotlib import cbook

from brimline.grid import Grid
from brimline.lines.keyline import cultivation_lines, families, find_keypoints, keyline
from brimline.lines.limits import limits
from brimline.lines.measure import level_error
from brimline.lines.relief import ridge_lines, valley_lines
from brimline.lines.sample import surface_at
from brimline.terrain.smooth import smoothed


@pytest.fixture(scope="module")
def mountains():
    """matplotlib's sample elevation (USGS, public domain), cells taken as 80 m."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        dem = sample["elevation"].astype(np.float32)
    grid = Grid(*dem.shape, 80.0)
    surface = smoothed(dem, cell_m=80.0, sigma_m=80.0)
    return surface, grid, valley_lines(surface, grid, min_area_m2=2e6, min_length_m=500.0)


def flank_levels(surface, grid, line, reach_m):
    xy = np.array(line.segmentize(80.0).coords)
    along = np.gradient(xy, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]])
    across /= np.hypot(*across.T)[:, None]
    sides = [surface_at(surface, grid, *(xy + side * across).T) for side in (reach_m, -reach_m)]
    return surface_at(surface, grid, *xy.T), np.mean(sides, axis=0)


def test_valleys_lie_below_and_ridges_above_the_ground_beside_them(mountains):
    surface, grid, valleys = mountains
    ridges = ridge_lines(surface, grid, min_area_m2=2e6, min_length_m=500.0, edge_m=160.0)
    assert len(valleys) > 30
    assert len(ridges) > 30
    for lines, sign in ((valleys, 1), (ridges, -1)):
        higher = []
        for one in lines:
            level, beside = flank_levels(surface, grid, one.line, 240.0)
            higher.append(sign * (beside - level))
        higher = np.concatenate(higher)
        assert np.nanmean(higher > 0) > 0.95


def test_valleys_run_down_into_each_other_and_never_cross(mountains):
    _surface, _grid, valleys = mountains
    by_id = {one.valley_id: one for one in valleys}
    for one in valleys:
        assert one.line.is_simple
        assert one.fall_pct > -0.5  # hollows of the survey apart
        if one.downstream_id:
            into = by_id[one.downstream_id]
            assert into.area_m2 >= one.area_m2
            assert into.order >= one.order
            assert shapely.distance(into.line, shapely.Point(one.line.coords[-1])) < 3 * 80.0
    lines = [one.line for one in valleys]
    one, _other = shapely.STRtree(lines).query(lines, predicate="crosses")
    assert len(one) <= 0.05 * len(lines)


def test_lines_do_not_depend_on_where_the_tile_lies_on_the_map(mountains):
    surface, grid, valleys = mountains
    moved = Grid(grid.rows, grid.cols, grid.cell_m, 500_000.0, 4_000_000.0)
    again = valley_lines(surface, moved, min_area_m2=2e6, min_length_m=500.0)
    assert len(again) == len(valleys)
    for one, other in zip(valleys, again, strict=True):
        back = shapely.transform(other.line, lambda xy: xy - (500_000.0, 4_000_000.0))
        assert shapely.hausdorff_distance(one.line, back) < 0.01


@pytest.fixture(scope="module")
def moraine():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set: no survey data to read")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        dem = source.read(1).astype(np.float32)
        dem[dem == source.nodata] = np.nan
        grid = Grid(*dem.shape, source.transform.a, source.transform.c, source.transform.f)
    surface = smoothed(dem, cell_m=1.0, sigma_m=3.0)
    valleys = valley_lines(surface, grid, min_area_m2=3000.0)
    ridges = ridge_lines(surface, grid, min_area_m2=3000.0)
    return dem, surface, grid, valleys, ridges


@pytest.mark.realdata
def test_keylines_on_glacial_ground_are_level_or_flagged(moraine):
    dem, surface, grid, valleys, ridges = moraine
    found = find_keypoints(surface, grid, valleys, smooth_m=3.0, noise_m=0.1, correlation_m=10.0)
    assert found
    for one in found:
        assert one.slope_above_pct > one.slope_below_pct
        assert 0.8 <= one.confidence <= 1
        valley = valleys[one.valley_id - 1]
        assert shapely.distance(valley.line, one.point) < 1.0
        line = keyline(one, dem, surface, grid, valleys, ridges)
        if line is None:
            continue
        assert line.line.is_simple
        assert line.level_error_m == pytest.approx(
            level_error(line.line, one.level_m, dem, grid), abs=1e-6
        )
        assert ("level-error" in line.flags) == (line.level_error_m > 0.05)


@pytest.mark.realdata
def test_cultivation_on_glacial_ground_stays_on_the_data_and_reports_its_share(moraine):
    dem, surface, grid, valleys, ridges = moraine
    (point, *_) = find_keypoints(
        surface, grid, valleys, smooth_m=3.0, noise_m=0.1, correlation_m=10.0
    )
    guide = keyline(point, dem, surface, grid, valleys, ridges)
    where = limits(surface, grid, max_slope_pct=45.0)
    lines = cultivation_lines(
        surface, grid, guide, where, width_m=3.0, reach_m=45.0, turning_radius_m=6.0
    )
    assert lines
    xy = shapely.get_coordinates([one.line for one in lines])
    assert np.isfinite(surface_at(surface, grid, *xy.T)).all()
    for family in families(lines):
        assert 0 <= family.share_right_pct <= 100
    poor = [one for one in lines if one.share_right_pct < 80]
    assert all("falls-to-valley" in one.flags for one in poor)
    tree = shapely.STRtree([one.line for one in lines])
    one, _other = tree.query([one.line for one in lines], predicate="crosses")
    assert len(one) == 0
