"""Falling lines on planes and cones, and between two points."""

import numpy as np
import pytest
import shapely

from brimline.errors import GridError
from brimline.grid import Grid
from brimline.lines.graded import GradedLine, NoLine, graded_between, graded_line
from brimline.lines.limits import Limits, limits
from brimline.lines.sample import surface_at

GRID = Grid(240, 300, 1.0, north_m=240.0)


def free(grid=GRID):
    return Limits(np.zeros(grid.shape, dtype=np.uint8))


def plane(slope, facing_deg=180.0, grid=GRID):
    """Falls towards a compass bearing."""
    x, y = grid.xy(*np.indices(grid.shape))
    away = x * np.sin(np.radians(facing_deg)) + y * np.cos(np.radians(facing_deg))
    return (100 - slope * away).astype(np.float64).astype(np.float32)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("slope", "n"), [(0.1, 100.0), (0.05, 400.0), (0.2, 20.0)])
def test_on_a_plane_a_line_runs_at_the_exact_angle_from_contour(slope, n, side):
    facing = 200.0
    dem = plane(slope, facing)
    line = graded_line((150.0, 120.0), n, side, dem, dem, GRID, free(), max_length_m=90.0)
    assert line.length_m == pytest.approx(90.0, abs=1.0)
    angle = np.degrees(np.arcsin(1 / (n * slope)))
    # looking down the slope the contour runs a quarter turn to the left or to the right
    bearing = facing - 90.0 + angle if side == "left" else facing + 90.0 - angle
    points = shapely.get_coordinates(line.line)
    way = np.diff(points, axis=0)
    found = np.degrees(np.arctan2(way[:, 0], way[:, 1])) % 360
    np.testing.assert_allclose(found, bearing % 360, atol=0.02)
    assert line.fall_pct == pytest.approx(100 / n, rel=1e-3)
    assert line.fall_error_m < 1e-3
    assert line.flags == ()


def test_on_a_cone_a_line_is_the_logarithmic_spiral():
    # A constant angle a to the circles: r = r₀ exp(θ tan a), sin a = 1 / (n s).
    grid = Grid(301, 301, 1.0, west_m=-150.5, north_m=150.5)
    x, y = grid.xy(*np.indices(grid.shape))
    dem = (100 - 0.1 * np.hypot(x, y)).astype(np.float32)
    line = graded_line((60.0, 0.0), 50.0, "left", dem, dem, grid, free(grid), max_length_m=300.0)
    points = shapely.get_coordinates(line.line)
    radius, turn = np.hypot(*points.T), np.unwrap(np.arctan2(points[:, 1], points[:, 0]))
    tangent = np.tan(np.arcsin(1 / (50.0 * 0.1)))
    np.testing.assert_allclose(radius, 60.0 * np.exp(np.abs(turn) * tangent), atol=0.1)
    # after 300 m, 300 sin a lower, the radius has doubled: ln 2 / tan a
    assert abs(turn[-1]) == pytest.approx(np.log(2) / tangent, rel=0.01)
    assert line.line.is_simple


def test_it_sets_out_towards_a_point():
    dem = plane(0.1)  # falls south: left of downhill is east
    east = graded_line((150.0, 120.0), 100.0, (299.0, 100.0), dem, dem, GRID, free())
    assert east.line.coords[-1][0] > 200.0
    west = graded_line((150.0, 120.0), 100.0, (1.0, 100.0), dem, dem, GRID, free())
    assert west.line.coords[-1][0] < 100.0


def test_it_ends_where_the_ground_is_flatter_than_its_fall():
    # 2 % ground that turns to 0.5 % east of x = 200: a line of 1 % cannot go on there
    x, y = GRID.xy(*np.indices(GRID.shape))
    slope = np.where(x < 200, 0.02, 0.005)
    dem = (100 + slope * y).astype(np.float32)
    dem = np.where(x < 200, 100 + 0.02 * y, 100 + 0.02 * 120 + 0.005 * (y - 120)).astype(np.float32)
    line = graded_line((150.0, 120.0), 100.0, "left", dem, dem, GRID, free())
    assert line.line.coords[-1][0] == pytest.approx(200.0, abs=3.0)
    assert "at-flat-ground" in line.flags


def test_it_does_not_wind_down_a_hollow_for_ever():
    x, y = GRID.xy(*np.indices(GRID.shape))
    bowl = (100 + 0.1 * np.hypot(x - 150, y - 120)).astype(np.float32)
    line = graded_line((200.0, 120.0), 400.0, "left", bowl, bowl, GRID, free())
    assert "at-hollow" in line.flags
    assert line.line.is_simple
    assert line.length_m < 1.1 * 2 * np.pi * 50


def test_it_ends_at_the_limits_and_says_why():
    dem = plane(0.1)
    area = np.ones(GRID.shape)
    area[:, 250] = 9000.0
    where = limits(
        dem,
        GRID,
        keep_out=[shapely.box(60, 100, 80, 140)],
        area_m2=area,
        path_area_m2=5000.0,
        path_clearance_m=3.0,
    )
    east = graded_line((150.0, 120.0), 200.0, "left", dem, dem, GRID, where)
    assert east.flags == ("at-flow-path",)
    assert east.line.coords[-1][0] == pytest.approx(247.0, abs=1.0)
    west = graded_line((150.0, 120.0), 200.0, "right", dem, dem, GRID, where)
    assert west.flags == ("at-keep-out",)
    assert 80.0 < west.line.coords[-1][0] < 81.0
    assert graded_line((70.0, 120.0), 200.0, "left", dem, dem, GRID, where) is None


def test_it_falls_from_vertex_to_vertex_on_a_noisy_survey():
    rng = np.random.default_rng(11)
    smooth = plane(0.08, 170.0)
    survey = smooth + rng.normal(0, 0.04, GRID.shape).astype(np.float32)
    starts = [(60.0, 180.0), (100.0, 120.0), (200.0, 200.0), (240.0, 60.0)]
    for start in starts:
        for side in ("left", "right"):
            line = graded_line(start, 200.0, side, survey, smooth, GRID, free())
            points = shapely.get_coordinates(line.line)
            assert (np.diff(surface_at(survey, GRID, *points.T)) < 0).all()
            assert line.line.is_simple
            assert tuple(points[0]) == pytest.approx(start, abs=1e-6)


@pytest.mark.parametrize(("option", "value"), [("run_per_fall", 0.0), ("max_length_m", -1.0)])
def test_falls_and_lengths_must_be_positive(option, value):
    options = {"run_per_fall": 100.0, "max_length_m": 10.0} | {option: value}
    n = options.pop("run_per_fall")
    with pytest.raises(ValueError, match="must be above 0"):
        graded_line((150.0, 120.0), n, "left", plane(0.1), plane(0.1), GRID, free(), **options)


def test_a_survey_off_the_grid_is_refused():
    small = np.zeros((3, 3), dtype=np.float32)
    with pytest.raises(GridError, match="does not lie on the grid"):
        graded_line((150.0, 120.0), 100.0, "left", small, plane(0.1), GRID, free())


def between(start, goal, dem, where=None, least=0.2, most=5.0):
    return graded_between(
        start,
        goal,
        dem,
        dem,
        GRID,
        where or free(),
        least_fall_pct=least,
        most_fall_pct=most,
    )


def test_between_two_points_of_a_plane_the_line_is_straight_and_its_grade_is_theirs():
    # 10 % falling south; 120 m east and 6 m south: a fall of 0.6 m on 120.15 m
    line = between((100.0, 120.0), (220.0, 114.0), plane(0.1))
    assert isinstance(line, GradedLine)
    assert line.length_m == pytest.approx(np.hypot(120.0, 6.0), rel=1e-4)
    assert line.fall_pct == pytest.approx(100 * 0.6 / np.hypot(120.0, 6.0), rel=1e-3)
    assert line.line.coords[0] == pytest.approx((100.0, 120.0))
    assert line.line.coords[-1] == pytest.approx((220.0, 114.0))
    assert line.fall_error_m < 2e-3


def test_round_a_cone_the_shorter_way_is_taken():
    x, y = GRID.xy(*np.indices(GRID.shape))
    dem = (100 - 0.1 * np.hypot(x - 150, y - 120)).astype(np.float32)
    start = (150.0 + 60.0, 120.0)
    quarter = (150.0, 120.0 + 66.0)  # a quarter turn to the left, three to the right
    line = between(start, quarter, dem)
    assert isinstance(line, GradedLine)
    # logarithmic spiral from r 60 to 66 over π / 2: tan a = ln(66 / 60) / (π / 2),
    # length (66 - 60) / sin a
    angle = np.arctan(np.log(66 / 60) / (np.pi / 2))
    assert line.length_m == pytest.approx(6.0 / np.sin(angle), rel=0.005)
    assert line.fall_pct == pytest.approx(10.0 * np.sin(angle), rel=0.01)


@pytest.mark.parametrize(
    ("goal", "bounds", "why"),
    [
        ((220.0, 126.0), (0.2, 5.0), "the goal is not lower"),
        ((220.0, 119.5), (0.2, 5.0), "a straight line would fall"),
        ((130.0, 60.0), (0.2, 5.0), "no line joins the points"),
        ((400.0, 60.0), (0.2, 5.0), "outside the data"),
    ],
)
def test_where_there_is_no_line_it_says_so(goal, bounds, why):
    found = between((100.0, 120.0), goal, plane(0.1), least=bounds[0], most=bounds[1])
    assert isinstance(found, NoLine)
    assert why in found.why
    assert found.flag == "short-of-goal"


def test_a_way_round_an_obstacle_is_searched_and_falls_all_the_way():
    # the straight line of 0.5 % is barred; there is room to pass below at up to 3 %
    dem = plane(0.1)
    obstacle = shapely.box(150.0, 115.0, 170.0, 130.0)
    where = limits(dem, GRID, keep_out=[obstacle])
    start, goal = (100.0, 122.0), (240.0, 110.0)
    line = between(start, goal, dem, where, least=0.1, most=4.0)
    assert isinstance(line, GradedLine)
    assert line.line.distance(obstacle) > 0
    points = shapely.get_coordinates(line.line)
    fall = -np.diff(surface_at(dem, GRID, *points.T))
    assert (fall > 0).all()
    assert line.length_m < 1.1 * np.hypot(140.0, 12.0)
    assert tuple(points[0]) == pytest.approx(start)
    assert tuple(points[-1]) == pytest.approx(goal)
    # and where the wall leaves no way, it says so
    wall = limits(dem, GRID, keep_out=[shapely.box(150.0, 0.0, 170.0, 240.0)])
    assert isinstance(between(start, goal, dem, wall, least=0.1, most=4.0), NoLine)
