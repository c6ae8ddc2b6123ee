"""What holds for swale rows, level lines and falling lines on any ground."""

import os
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import Grid
from brimline.lines.graded import graded_line
from brimline.lines.level_lines import Drawing, level_lines
from brimline.lines.limits import limits
from brimline.lines.measure import level_error
from brimline.lines.rows import Duty, RowSpacing, swale_rows
from brimline.lines.sample import gradient_at, surface_at
from brimline.terrain.conditioning.filling import fill
from brimline.terrain.smooth import smoothed

DUTY = Duty(runoff_mm=20.0, storage_m2=0.5, soak_mm=30.0, wetted_width_m=2.0)
KEEP_OUTS = [shapely.box(60.3, 40.1, 85.7, 62.9), shapely.Point(120, 100).buffer(9.0)]


def hills(seed, noise_m, size=160):
    """A tilted hillside with spurs, gullies and hollows, surveyed with noise."""
    rng = np.random.default_rng(seed)
    row, _ = np.indices((size, size))
    dem = 100 - rng.uniform(0.02, 0.12) * row
    for scale, height in ((25.0, 4.0), (10.0, 0.8)):
        bumps = ndimage.gaussian_filter(rng.normal(size=(size, size)), scale, mode="reflect")
        dem = dem + height * bumps / bumps.std()
    dem = dem + rng.normal(0, noise_m, dem.shape)
    if seed % 3 == 0:
        dem[100:115, 20:40] = np.nan
    return dem.astype(np.float32)


def site(dem, cell_m=1.0):
    grid = Grid(*dem.shape, cell_m, north_m=dem.shape[0] * cell_m)
    surface = smoothed(dem, cell_m=cell_m, sigma_m=2.0 * cell_m)
    directions = flow_directions(fill(surface))
    area = accumulate(directions) * 1.0
    boundary = shapely.box(*grid.bounds).buffer(-3.3)
    where = limits(
        surface,
        grid,
        boundary=boundary,
        boundary_setback_m=5.0,
        keep_out=KEEP_OUTS,
        area_m2=area * (grid.cell_area_m2 if np.nanmax(area) <= dem.size else 1.0),
        path_area_m2=3000.0,
        path_clearance_m=3.0,
        max_slope_pct=35.0,
    )
    return grid, surface, boundary, where


SPACINGS = [
    RowSpacing("volume", 8.0, 50.0),
    RowSpacing("interval", 8.0, 50.0, interval_m=1.5),
    RowSpacing("terrace", 8.0, 50.0, terrace_x=0.6, terrace_y=2.0),
]


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 500), st.sampled_from(SPACINGS), st.sampled_from([0.0, 0.02, 0.06]))
def test_rows_hold_what_is_promised_of_them(seed, spacing, noise_m):
    """Rows are sound lines, apart, on allowed ground, and their numbers are what they say."""
    dem = hills(seed, noise_m)
    grid, surface, boundary, where = site(dem)
    drawn = [shapely.LineString([(40.0, 90.0), (75.0, 95.0), (100.0, 88.0)])]
    drawing = Drawing()
    rows = swale_rows(
        dem, surface, grid, where, DUTY, spacing, drawn=drawn if seed % 2 else (), drawing=drawing
    )
    lines = [row.line for row in rows]
    for row in rows:
        assert row.line.geom_type == "LineString"
        assert row.line.is_simple
        assert row.line.is_valid
        assert row.length_m == pytest.approx(row.line.length)
        assert row.drawn >= 0 or row.length_m >= drawing.min_length_m
        # level error is the survey's along the drawn line, kept or flagged
        assert row.level_error_m == pytest.approx(level_error(row.line, row.level_m, dem, grid))
        assert ("level-error" in row.flags) == (row.level_error_m > drawing.tolerance_m)
        # no line enters a keep-out or leaves the boundary's setback
        assert not any(area.intersects(row.line) for area in KEEP_OUTS)
        assert boundary.buffer(-5.0).contains(row.line)
        assert row.must_hold_m3 == pytest.approx(row.catchment_m2 * 0.020)
        assert row.holds_m3 == pytest.approx(row.length_m * DUTY.holds_m3_per_m)
        reaches_m3 = row.must_hold_m3 + row.from_above_m3
        assert row.passes_on_m3 == pytest.approx(max(reaches_m3 - row.holds_m3, 0.0), abs=1e-6)
        if row.passes_on_m3 > 0 and row.passes_to < 0:
            assert "undersized" in row.flags
        if "undersized" in row.flags:
            assert row.passes_on_m3 > 0
        if row.drawn < 0:
            assert row.spacing_m >= 0.9 * spacing.min_m - 1e-6
            east, north = gradient_at(surface, grid, *shapely.get_coordinates(row.line)[:-1].T)
            way = np.diff(shapely.get_coordinates(row.line), axis=0)
            up_right = way[:, 1] * east - way[:, 0] * north  # the right of (x, y) is (y, -x)
            assert np.nansum(up_right) > 0
    # no two lines cross or touch, and proposals keep half the least spacing
    for i, j in shapely.STRtree(lines).query(lines, predicate="dwithin", distance=3.99).T:
        assert i == j or (rows[i].drawn >= 0 and rows[j].drawn >= 0)
    # what one row passes on reaches the one that it passes on to, lower down, and no other
    handed = np.zeros(len(rows) + 1)
    for i, row in enumerate(rows):
        assert row.passes_to == -1 or row.passes_to > i
        handed[row.passes_to] += row.passes_on_m3
    np.testing.assert_allclose([row.from_above_m3 for row in rows], handed[:-1], atol=1e-6)
    # every piece of ground sheds to one row at most
    assert sum(row.catchment_m2 for row in rows) <= np.isfinite(dem).sum() + 1e-6
    assert all(one.level_m >= other.level_m for one, other in pairwise(rows))


@settings(deadline=None, max_examples=3)
@given(st.integers(0, 500))
def test_rows_are_the_same_every_time_and_arguments_are_left_alone(seed):
    """Two runs give the same rows to the last bit and write to nothing that they were given."""
    dem = hills(seed, 0.03)
    grid, surface, _, where = site(dem)
    kept = dem.copy(), surface.copy(), where.blocked.copy()
    one, other = (swale_rows(dem, surface, grid, where, DUTY, SPACINGS[0]) for _ in range(2))
    assert [row.line.wkb for row in one] == [row.line.wkb for row in other]
    for now, then in zip((dem, surface, where.blocked), kept, strict=True):
        np.testing.assert_array_equal(now, then)


@settings(deadline=None, max_examples=6)
@given(st.integers(0, 500), st.sampled_from([0.0, 0.05]))
def test_level_lines_keep_their_promises(seed, noise_m):
    """Level lines are sound, off the keep-outs, ended with a reason, level or flagged."""
    dem = hills(seed, noise_m)
    grid, surface, boundary, where = site(dem)
    levels = np.nanquantile(surface, [0.2, 0.5, 0.8])
    for line in level_lines(levels, dem, surface, grid, where):
        assert line.line.is_simple
        assert not any(area.intersects(line.line) for area in KEEP_OUTS)
        assert boundary.contains(line.line)
        assert ("level-error" in line.flags) == (line.level_error_m > 0.05)
        if not line.line.is_ring:
            assert set(line.flags) - {"level-error"}


@settings(deadline=None, max_examples=10)
@given(
    st.integers(0, 500),
    st.sampled_from([0.0, 0.03]),
    st.floats(20, 140),
    st.floats(20, 140),
    st.sampled_from([60.0, 200.0]),
    st.sampled_from(["left", "right"]),
)
def test_falling_lines_fall(seed, noise_m, x, y, n, side):
    """From vertex to vertex the survey falls; the line is sound and keeps to allowed ground."""
    dem = hills(seed, noise_m)
    grid, surface, boundary, where = site(dem)
    line = graded_line((x, y), n, side, dem, surface, grid, where)
    if line is None:
        return
    points = shapely.get_coordinates(line.line)
    level = surface_at(dem, grid, *points.T)
    assert (np.diff(level) < 0).all()
    assert line.line.is_simple
    assert not any(area.intersects(line.line) for area in KEEP_OUTS)
    assert boundary.buffer(-5.0).contains(line.line)
    assert line.from_level_m == pytest.approx(level[0])
    assert line.to_level_m == pytest.approx(level[-1])
    assert ("fall-error" in line.flags) == (line.fall_error_m > 0.05)


@pytest.mark.realdata
@pytest.mark.parametrize("spacing", SPACINGS, ids=lambda spacing: spacing.rule)
def test_rows_on_a_real_survey_are_level_or_flagged_and_do_not_cross(spacing):
    """On glacial ground full of hollows the promises hold as well, and most lines are level."""
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    rasterio = pytest.importorskip("rasterio")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        dem = source.read(1)
    grid, surface, _, where = site(dem)
    rows = swale_rows(dem, surface, grid, where, DUTY, spacing)
    lines = [row.line for row in rows]
    assert len(rows) > 30
    pairs = shapely.STRtree(lines).query(lines, predicate="intersects")
    assert (pairs[0] == pairs[1]).all()
    for row in rows:
        error = level_error(row.line, row.level_m, dem, grid)
        assert error <= 0.05 or "level-error" in row.flags
        assert not any(area.intersects(row.line) for area in KEEP_OUTS)
    assert np.median([row.level_error_m for row in rows]) < 0.06
    assert np.median([row.level_rms_m for row in rows]) < 0.02
