"""Swale rows on planes and cones, where every number can be worked out by hand."""

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.level_lines import Drawing, level_lines
from brimline.lines.limits import limits
from brimline.lines.measure import departures
from brimline.lines.rows import Duty, RowSpacing, catchment_ratio, swale_rows, terrace_interval_m

GRID = Grid(210, 80, 1.0, west_m=1000.0, north_m=5210.0)
DUTY = Duty(runoff_mm=25.0, storage_m2=0.50, soak_mm=20.0, wetted_width_m=2.0)


def plane(slope, grid=GRID):
    """Falls south; the outermost centres lie at row 0, the divide is the northern edge."""
    row, _ = np.indices(grid.shape)
    return (100 - slope * grid.cell_m * row).astype(np.float32)


def rows_on(dem, spacing, grid=GRID, duty=DUTY, **options):
    where = limits(dem, grid, max_slope_pct=40.0)
    return swale_rows(dem, dem, grid, where, duty, spacing, **options)


def test_what_a_metre_of_row_takes_and_the_strip_that_fills_it():
    # 0.50 m² + 0.020 m × 2.0 m = 0.54 m³ per metre; / 0.025 m of runoff = 21.6 m of strip
    assert DUTY.holds_m3_per_m == pytest.approx(0.54)
    assert DUTY.spacing_m == pytest.approx(21.6)


def test_volume_rule_on_a_plane_by_hand():
    # Rows are aimed 3 % short of the strip of 21.6 m: 20.95 m apart, the first one that far below
    # the divide, which is the data's edge. Each row holds what its strip sheds.
    rows = rows_on(plane(0.10), RowSpacing("volume", min_m=5.0, max_m=60.0))
    y = np.array([row.line.centroid.y for row in rows])
    assert len(rows) == 9  # 9 × 20.95 m = 188.6 m of 210 m
    np.testing.assert_allclose(GRID.north_m - y[0], 0.97 * 21.6, atol=0.3)
    np.testing.assert_allclose(-np.diff(y), 0.97 * 21.6, atol=0.1)
    for row in rows:
        assert row.catchment_m2 == pytest.approx(80 * 0.97 * 21.6, rel=0.015)
        assert row.must_hold_m3 == pytest.approx(row.catchment_m2 * 0.025)
        assert row.holds_m3 == pytest.approx(row.length_m * 0.54)
        assert row.length_m == pytest.approx(79.0, abs=0.01)
        assert row.mean_slope_pct == pytest.approx(10.0, abs=0.01)
        assert row.flags == ("at-data-edge",)
    ground = np.hypot(1.0, 0.1)  # spacing is measured over the ground
    np.testing.assert_allclose([row.spacing_m for row in rows[1:]], -np.diff(y) * ground, rtol=1e-3)


def test_rows_of_a_plane_are_straight_parallel_and_exactly_level():
    rows = rows_on(plane(0.10), RowSpacing("interval", 5.0, 60.0, interval_m=2.0))
    for row in rows:
        points = shapely.get_coordinates(shapely.segmentize(row.line, 0.3))
        assert np.ptp(points[:, 1]) < 1e-3
        assert row.level_error_m < 1e-4
    levels = np.array([row.level_m for row in rows])
    np.testing.assert_allclose(levels, 100.0 - 2.0 * np.arange(1, len(rows) + 1), atol=0.01)


def test_terrace_spacing_of_the_worked_example():
    # VI[ft] = X s + Y with X 0.6, Y 2 and s 5 %: VI 5.0 ft, HI = 100 VI / s = 100 ft.
    # USDA NRCS, Conservation Practice Standard 600 (April 2010), which names the vertical interval
    # equation for spacing and refers to Engineering Field Handbook (part 650) chapter 8, Terraces
    # (December 2011). Y from 1.0 to 4.0 by erodibility and cover is confirmed in print (BMP C131,
    # gradient terraces); the range of X and the example's numbers: value from memory.
    assert terrace_interval_m(5.0, 0.6, 2.0) == pytest.approx(5.0 * 0.3048)
    rows = rows_on(plane(0.05), RowSpacing("terrace", 5.0, 90.0, terrace_x=0.6, terrace_y=2.0))
    y = np.array([row.line.centroid.y for row in rows])
    np.testing.assert_allclose(-np.diff([row.level_m for row in rows]), 5.0 * 0.3048, atol=0.01)
    np.testing.assert_allclose(-np.diff(y), 100 * 0.3048, atol=0.2)


def test_contour_bund_ratio_of_the_worked_example():
    # Critchley & Siegert (1991), FAO AGL/MISC/17/91 (U3160E), chapter 4.2, "water harvested = extra
    # water required", and 4.3, worked examples: need 475 mm, design rain 250 mm, runoff coefficient
    # 0.5, efficiency 0.5 give a ratio of 3.6. The rule was read there; these numbers: value from
    # memory, and by hand from the rule.
    ratio = catchment_ratio(475.0, 250.0, 0.5, 0.5)
    assert ratio == pytest.approx(3.6)
    # a bund with 5 m of cultivated ground below it wants 18 m of catchment: as a volume, the strip
    # that sheds 250 mm × 0.5 × 0.5 over 18 m is what the crop needs on 5 m beyond its rain
    assert ratio * 5.0 * 0.25 * 0.5 * 0.5 == pytest.approx(5.0 * (0.475 - 0.25))
    assert catchment_ratio(200.0, 250.0, 0.5, 0.5) == 0.0
    with pytest.raises(ValueError, match="must be above 0"):
        catchment_ratio(475.0, 250.0, 0.0, 0.5)


@pytest.mark.parametrize(("least", "most", "expected"), [(30.0, 60.0, 30.0), (5.0, 12.0, 12.0)])
def test_bounds_override_the_rule_and_the_row_says_what_it_lacks(least, most, expected):
    rows = rows_on(plane(0.10), RowSpacing("volume", least, most))
    y = np.array([row.line.centroid.y for row in rows])
    np.testing.assert_allclose(-np.diff(y), expected, atol=0.3)
    # the plane is one stack: what its rows together cannot hold runs off below the last one
    short = sum(row.must_hold_m3 - row.holds_m3 for row in rows)
    assert rows[-1].passes_on_m3 == pytest.approx(max(short, 0.0), abs=1e-6)
    assert any("undersized" in row.flags for row in rows) == (expected > 21.6)


def test_rows_of_a_cone_are_circles_and_each_holds_its_ring():
    grid = Grid(241, 241, 1.0, west_m=-120.5, north_m=120.5)
    x, y = grid.xy(*np.indices(grid.shape))
    radius = np.hypot(x, y)
    dem = (100 - 0.12 * radius).astype(np.float32)
    rows = rows_on(dem, RowSpacing("volume", 5.0, 60.0), grid=grid)
    whole = [row for row in rows if row.line.is_ring]
    # The first row: π r² × 0.025 = 2 π r × 0.54 × 0.97, so r = 41.9 m; the next:
    # π (r² - r₁²) × 0.025 = 2 π r × 0.54 × 0.97.
    strip = 0.97 * 21.6
    first = 2 * strip
    second = strip + np.hypot(strip, first)
    for row, expected in zip(whole, (first, second), strict=False):
        mean = row.line.length / (2 * np.pi)
        assert mean == pytest.approx(expected, abs=0.1)
        points = shapely.get_coordinates(shapely.segmentize(row.line, 0.25))
        # interpolation h² / (4 r), bending λ / r³, vertices 0.03 m
        np.testing.assert_allclose(np.hypot(*points.T), mean, atol=0.05)
        assert row.must_hold_m3 / row.holds_m3 == pytest.approx(0.97, abs=0.005)


def test_a_drawn_row_is_corrected_and_proposals_fit_around_it():
    dem = plane(0.10)
    drawn = shapely.LineString([(1010.0, 5110.0), (1030.0, 5114.0), (1070.0, 5106.0)])
    rows = rows_on(dem, RowSpacing("volume", 10.0, 60.0), drawn=[drawn])
    (row,) = [row for row in rows if row.drawn == 0]
    # y runs 5110, 5114, 5106 over 20.4 m and 40.8 m: 20.4 m lie below 5110, half of it below 5111
    assert np.ptp(shapely.get_coordinates(row.line)[:, 1]) < 0.02
    assert row.level_m == pytest.approx(100 - 0.1 * (5209.5 - 5111.0), abs=0.02)
    # 61.2 m were drawn askew over 60 m: what is left goes on along the contour, half at each end
    left_m = (drawn.length - 60.0) / 2
    assert row.line.length == pytest.approx(drawn.length, abs=0.02)
    assert row.line.coords[0][0] == pytest.approx(1010.0 - left_m, abs=0.1)
    assert row.line.coords[-1][0] == pytest.approx(1070.0 + left_m, abs=0.1)
    # the end at 5106 was moved by 5 m, that is 0.5 m in level on 10 %
    assert row.moved_m == pytest.approx(5.0, abs=0.2)
    assert row.moved_level_m == pytest.approx(0.5, abs=0.02)
    assert "moved" in row.flags
    for other in rows:
        if other.drawn < 0:
            assert other.line.distance(row.line) > 9.0  # least spacing, told by cell centres
            assert "moved" not in other.flags
    # what the drawn row holds back does not come to the rows below
    below = [other for other in rows if other.level_m < row.level_m]
    above = [other for other in rows if other.level_m > row.level_m]
    assert sum(r.catchment_m2 for r in rows) <= GRID.rows * GRID.cols
    assert above
    assert below


def test_a_drawn_row_takes_the_level_that_it_is_given():
    drawn = shapely.LineString([(1010.0, 5110.0), (1070.0, 5110.0)])
    rows = rows_on(plane(0.10), None, drawn=[drawn], drawn_levels_m=[90.5])
    (row,) = rows
    assert row.level_m == 90.5
    assert row.line.centroid.y == pytest.approx(5209.5 - 95.0, abs=0.01)
    assert row.moved_m == pytest.approx(4.5, abs=0.02)


def test_level_lines_end_where_they_may_not_go_and_say_why():
    dem = plane(0.10)
    where = limits(
        dem,
        GRID,
        boundary=shapely.box(1005, 5000, 1075, 5210),
        boundary_setback_m=5.0,
        keep_out=[shapely.box(1030, 5100, 1045, 5112)],
    )
    drawing = Drawing(min_length_m=10.0)
    lines = level_lines([90.2, 92.0], dem, dem, GRID, where, drawing)
    assert [line.level_m for line in lines] == [92.0, 90.2, 90.2]
    assert lines[0].flags == ("at-boundary",)
    assert lines[0].length_m == pytest.approx(60.0, abs=0.1)
    for line in lines[1:]:
        assert line.flags == ("at-boundary", "at-keep-out")
        assert line.line.distance(shapely.box(1030, 5100, 1045, 5112)) > 0
    assert sum(line.length_m for line in lines[1:]) == pytest.approx(45.0, abs=0.1)


def test_short_pieces_are_dropped():
    dem = plane(0.10)
    where = limits(dem, GRID, keep_out=[shapely.box(1015, 5000, 1200, 5210)])
    assert level_lines([92.0], dem, dem, GRID, where, Drawing(min_length_m=20.0)) == []


def test_noise_shows_as_level_error_and_is_flagged():
    noisy = plane(0.10) + np.random.default_rng(4).normal(0, 0.06, GRID.shape).astype(np.float32)
    where = limits(plane(0.10), GRID)
    lines = level_lines([90.0], noisy, plane(0.10), GRID, where)
    (line,) = lines
    found = departures([line.line], line.level_m, noisy, GRID)
    assert line.level_error_m == pytest.approx(found.largest_m[0])
    assert line.level_error_m > 0.05
    assert "level-error" in line.flags
    assert line.level_rms_m < 0.06  # a smooth line averages the noise, it does not add to it


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"rule": "volume", "min_m": 20.0, "max_m": 10.0}, "bounds must be in order"),
        ({"rule": "interval", "min_m": 1.0, "max_m": 10.0}, "interval_m must be above 0 m"),
        ({"rule": "terrace", "min_m": 1.0, "max_m": 10.0}, "terrace_y above 0 ft"),
        ({"rule": "steps", "min_m": 1.0, "max_m": 10.0}, "rule must be one of"),
    ],
)
def test_impossible_spacings_are_refused(values, message):
    with pytest.raises(ValueError, match=message):
        RowSpacing(**values)


def test_a_row_that_holds_nothing_is_refused():
    with pytest.raises(ValueError, match="a row holds nothing"):
        Duty(runoff_mm=20.0, storage_m2=0.0)
    with pytest.raises(ValueError, match="runoff_mm must not be negative"):
        Duty(runoff_mm=-1.0, storage_m2=1.0)
