"""Contours traced by own loops: the same pieces as contourpy's, joined, on any small ground."""

import contourpy
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.grid import Grid
from brimline.lines.contours import contours, drawn_contours

LEVELS = [2.0, -1.0, 0.25, 0.5, 1.0]


@st.composite
def grounds(draw):
    """Few heights, so that levels pass through cells, saddles and plateaus; with nodata."""
    rows, cols = draw(st.integers(2, 7)), draw(st.integers(2, 7))
    heights = st.sampled_from([-2.0, -1.0, 0.0, 0.25, 0.3, 1.0, 2.0, 7.5, np.nan])
    cells = draw(st.lists(heights, min_size=rows * cols, max_size=rows * cols))
    dem = np.array(cells, dtype=np.float32).reshape(rows, cols)
    if np.isnan(dem).all():
        dem[0, 0] = 1.0
    return dem


def pieces(lines):
    """Directed steps of lines, none of them without length, in order."""
    steps = [np.column_stack((line[:-1], line[1:])) for line in lines]
    every = np.concatenate([np.zeros((0, 4)), *steps])
    every = every[(every[:, :2] != every[:, 2:]).any(axis=1)].round(9) + 0.0
    return every[np.lexsort(every.T)]


@pytest.mark.interpreted
@settings(deadline=None, max_examples=150)
@given(dem=grounds())
def test_every_step_of_a_contour_is_a_step_of_contourpys_and_no_other(dem):
    grid = Grid(*dem.shape, 2.0, west_m=10.0, north_m=50.0)
    tracer = contourpy.contour_generator(z=dem, name="serial", corner_mask=False)
    for level, ours in zip(LEVELS, contours(dem, grid, LEVELS), strict=True):
        theirs = [np.column_stack(grid.xy(p[:, 1], p[:, 0])) for p in tracer.lines(level)]
        found = pieces([shapely.get_coordinates(line) for line in ours.geoms])
        np.testing.assert_allclose(found, pieces(theirs), atol=1e-6)


@pytest.mark.interpreted
@settings(deadline=None, max_examples=100)
@given(dem=grounds())
def test_lines_repeat_no_vertex_and_end_only_at_the_edge_of_data(dem):
    grid = Grid(*dem.shape, 1.0)
    square = np.isfinite(dem[:-1, :-1] + dem[1:, :-1] + dem[:-1, 1:] + dem[1:, 1:])
    row, col = np.nonzero(square)
    x, y = grid.xy(row + 0.5, col + 0.5)
    known = shapely.union_all(shapely.box(x - 0.5, y - 0.5, x + 0.5, y + 0.5))
    for lines in contours(dem, grid, LEVELS):
        for line in lines.geoms:
            points = shapely.get_coordinates(line)
            assert (points[1:] != points[:-1]).any(axis=1).all()
            if not line.is_closed:
                ends = shapely.points(points[[0, -1]])
                assert (shapely.distance(ends, known.boundary) < 1e-9).all()


@pytest.mark.interpreted
@settings(deadline=None, max_examples=60)
@given(dem=grounds(), interval_m=st.sampled_from([0.3, 1.0, 4.0]))
def test_drawn_contours_keep_to_the_exact_ones_and_take_their_vertices(dem, interval_m):
    grid = Grid(*dem.shape, 1.0)
    levels, drawn = drawn_contours(dem, grid, interval_m)
    for ours, exact in zip(drawn, contours(dem, grid, levels), strict=True):
        assert len(ours.geoms) == len(exact.geoms)
        theirs = {tuple(point) for point in shapely.get_coordinates(exact)}
        assert {tuple(point) for point in shapely.get_coordinates(ours)} <= theirs
        assert shapely.hausdorff_distance(ours, exact, densify=0.1) <= 0.05 + 1e-9


def test_levels_are_given_back_in_the_order_asked_for_even_twice():
    dem = np.add.outer(np.arange(5.0), np.arange(6.0)).astype(np.float32)
    grid = Grid(5, 6, 1.0)
    asked = [4.5, 99.0, 2.5, 4.5]
    found = contours(dem, grid, asked)
    assert [len(lines.geoms) for lines in found] == [1, 0, 1, 1]
    assert found[0].equals(found[3])
    assert found[0].length > found[2].length
    assert contours(dem, grid, []) == []


def test_a_line_that_would_cross_itself_keeps_all_its_vertices():
    random = np.random.default_rng(950)  # searched for: one in a thousand of such grounds
    dem = np.round(random.normal(0, 1, (14, 14)), 3).astype(np.float32)
    grid = Grid(14, 14, 1.0)
    levels, drawn = drawn_contours(dem, grid, 1.0)
    place = list(levels).index(0.0)
    exact = np.array(contours(dem, grid, [0.0])[0].geoms)
    assert not shapely.is_simple(shapely.simplify(exact, 0.05, preserve_topology=False)).all()
    assert shapely.is_simple(exact).all()
    assert shapely.is_simple(np.array(drawn[place].geoms)).all()


@pytest.mark.interpreted
def test_a_level_in_a_saddle_goes_round_the_corners_that_its_middle_leaves():
    # high north-west and south-east; the middle, the mean of the four, lies at 0.5
    grid = Grid(2, 2, 1.0)
    dem = np.array([[1, 0], [0, 1]], dtype=np.float32)
    (apart,) = contours(dem, grid, [0.75])  # the middle is low: each high corner for itself
    (joined,) = contours(dem, grid, [0.25])  # the middle is high: each low corner for itself
    x, y = grid.xy([0, 0, 1, 1], [0, 1, 1, 0])
    corners = shapely.points(x, y)
    near = 0.25 * np.sqrt(0.5)
    assert shapely.distance(corners, apart) == pytest.approx(np.array([near, 0.75, near, 0.75]))
    assert shapely.distance(corners, joined) == pytest.approx(np.array([0.75, near, 0.75, near]))
