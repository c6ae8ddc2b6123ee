"""Contours against analytic surfaces and against contourpy's on real elevation."""

import os
from itertools import pairwise
from pathlib import Path

import contourpy
import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.contours import contour_levels, contours, drawn_contours, is_index
from brimline.lines.measure import departures
from brimline.lines.sample import surface_at
from brimline.lines.tidy import tidied


def peer(dem, grid, level):
    """The library's lines over the whole surface at once, in map metres."""
    tracer = contourpy.contour_generator(z=dem, name="serial", corner_mask=False)
    lines = [np.column_stack(grid.xy(p[:, 1], p[:, 0])) for p in tracer.lines(float(level))]
    return shapely.MultiLineString([line for line in lines if np.ptp(line, axis=0).any()])


def jacksboro():
    cbook = pytest.importorskip("matplotlib.cbook")
    with np.load(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as data:
        return data["elevation"].astype(np.float32)


def moraine():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    rasterio = pytest.importorskip("rasterio")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        return source.read(1)


@pytest.mark.parametrize(
    ("read", "cell_m", "interval_m"),
    [
        pytest.param(jacksboro, 90.0, 50.0, id="jacksboro"),
        pytest.param(moraine, 1.0, 2.0, id="moraine", marks=pytest.mark.realdata),
    ],
)
def test_unsmoothed_contours_equal_the_librarys_within_a_millimetre(read, cell_m, interval_m):
    dem = read()
    grid = Grid(*dem.shape, cell_m, north_m=dem.shape[0] * cell_m)
    levels = contour_levels(dem, interval_m)
    assert len(levels) > 5
    for level, ours in zip(levels, contours(dem, grid, levels), strict=True):
        theirs = peer(dem, grid, level)
        assert ours.length == pytest.approx(theirs.length, abs=1e-3)
        if not theirs.is_empty:
            assert shapely.hausdorff_distance(ours, theirs) < 1e-3


def test_contours_of_a_plane_are_straight_parallel_and_at_the_exact_offset():
    # z = 100 - 0.05 (x sin 30° + y cos 30°): lines of a level 1 m apart lie 20 m apart.
    grid = Grid(300, 320, 1.0, north_m=300.0)
    x, y = grid.xy(*np.indices(grid.shape))
    away = x * np.sin(np.pi / 6) + y * np.cos(np.pi / 6)
    dem = (100 - 0.05 * away).astype(np.float32)
    levels = np.array([97.0, 96.0, 95.0, 90.0])
    for level, lines in zip(levels, contours(dem, grid, levels), strict=True):
        assert len(lines.geoms) == 1
        points = shapely.get_coordinates(lines)
        offset = points[:, 0] * np.sin(np.pi / 6) + points[:, 1] * np.cos(np.pi / 6)
        np.testing.assert_allclose(offset, (100 - level) / 0.05, atol=5e-4)


@pytest.mark.parametrize("radius_m", [20.0, 55.5, 110.0])
def test_contours_of_a_cone_are_circles_within_a_millimetre_and_the_interpolation_bound(radius_m):
    # A chord of a bilinear cell departs from the cone by at most h² / (8 r) horizontally in each
    # direction (the second derivative of the radius is 1 / r): h² / (4 r) in all.
    cell_m = 0.5
    grid = Grid(601, 601, cell_m, west_m=-150.25, north_m=150.25)
    x, y = grid.xy(*np.indices(grid.shape))
    dem = (50 - 0.1 * np.hypot(x, y)).astype(np.float32)
    level = 50 - 0.1 * radius_m
    (lines,) = contours(dem, grid, [level])
    assert len(lines.geoms) == 1
    assert lines.geoms[0].is_ring
    dense = shapely.get_coordinates(shapely.segmentize(lines, cell_m / 8))
    bound = 0.001 + cell_m**2 / (4 * radius_m)
    np.testing.assert_allclose(np.hypot(*dense.T), radius_m, atol=bound)
    (smooth,) = tidied(
        lines.geoms, level, dem, grid, bend_m=8.0, tolerance_m=0.01, simplify_m=0.002
    )
    assert smooth.is_ring
    dense = shapely.get_coordinates(shapely.segmentize(smooth, cell_m / 8))
    # the bending term draws a circle in by λ / r³, λ = (8 / 2π)⁴; leaving out vertices adds 2 mm
    bound += (8 / (2 * np.pi)) ** 4 / radius_m**3 + 0.002
    np.testing.assert_allclose(np.hypot(*dense.T), radius_m, atol=bound)


def test_higher_ground_is_on_the_right_and_lines_end_only_at_the_edge_of_data():
    dem = jacksboro()
    dem[100:130, 200:240] = np.nan
    grid = Grid(*dem.shape, 90.0, north_m=dem.shape[0] * 90.0)
    (lines,) = contours(dem, grid, [450.5])
    known = shapely.box(*grid.bounds).buffer(-45.0 - 1e-6)
    hole = shapely.box(*grid.window(100, 200, 30, 40).bounds).buffer(45.0 + 1e-6)
    for line in lines.geoms:
        if not line.is_ring:
            for end in (line.coords[0], line.coords[-1]):
                assert not known.contains(shapely.Point(end)) or hole.covers(shapely.Point(end))
        start, then = np.asarray(line.coords[:2])
        way, middle = then - start, (start + then) / 2
        right = middle + 0.05 * np.array([way[1], -way[0]])
        left = middle - 0.05 * np.array([way[1], -way[0]])
        assert surface_at(dem, grid, *right) > surface_at(dem, grid, *left)


def test_levels_are_whole_multiples_and_every_fifth_is_an_index_contour():
    dem = np.array([[0.6, 3.4], [2.0, 1.1]], dtype=np.float32)
    levels = contour_levels(dem, 0.5)
    np.testing.assert_allclose(levels, [1.0, 1.5, 2.0, 2.5, 3.0])
    np.testing.assert_array_equal(is_index(levels, 0.5, 5), [False, False, False, True, False])


def test_tidied_lines_keep_to_their_level_on_real_ground():
    dem = jacksboro()
    grid = Grid(*dem.shape, 90.0, north_m=dem.shape[0] * 90.0)
    levels = contour_levels(dem, 50.0) + 0.5
    traced = [
        (line, level)
        for level, lines in zip(levels, contours(dem, grid, levels), strict=True)
        for line in lines.geoms
        if line.length > 2000
    ]
    lines, level = [t[0] for t in traced], np.array([t[1] for t in traced])
    smooth = tidied(lines, level, dem, grid, bend_m=300.0, tolerance_m=10.0, simplify_m=3.0)
    assert all(line.is_simple for line in smooth)
    off = departures(smooth, level, dem, grid).largest_m
    # of relief of 1 m steps on 90 m cells, most lines keep 10 m; the rest is told by their error
    assert (off <= 10.0).mean() > 0.9
    assert sum(line.length for line in smooth) < sum(line.length for line in lines)
    assert sum(len(line.coords) for line in smooth) < 0.75 * sum(len(line.coords) for line in lines)


def test_drawn_contours_are_lighter_keep_their_place_and_do_not_cross():
    dem = jacksboro()
    grid = Grid(*dem.shape, 90.0, north_m=dem.shape[0] * 90.0)
    levels, drawn = drawn_contours(dem, grid, 50.0, least_ring_m=12 * 90.0)
    exact = contours(dem, grid, levels)
    for ours, theirs in zip(drawn, exact, strict=True):
        rings = [line for line in ours.geoms if line.is_ring]
        assert all(ring.length >= 12 * 90.0 for ring in rings)
        dense = shapely.points(shapely.get_coordinates(shapely.segmentize(ours, 30.0)))
        assert shapely.distance(dense, theirs).max() <= 0.05 * 90.0 + 1e-6
    for one, other in pairwise(drawn):
        assert not one.intersects(other)
    vertices = shapely.get_num_coordinates(np.array(drawn, dtype=object)).sum()
    assert vertices < 0.8 * shapely.get_num_coordinates(np.array(exact, dtype=object)).sum()


def test_a_flat_surface_has_no_drawn_contours():
    levels, drawn = drawn_contours(np.full((5, 5), 3.3, dtype=np.float32), Grid(5, 5, 1.0), 1.0)
    assert len(levels) == 0
    assert drawn == []
