"""Where cells are, which way neighbours lie, and the doors to the kernels."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, Grid, checked_elevation, checked_same_shape, reverse
from brimline.grid.shapes import cells_inside, cells_touched, outlines

GRID = Grid(rows=4, cols=6, cell_m=2.0, west_m=100.0, north_m=50.0, crs="EPSG:32626")
GRID_BOX = shapely.box(*GRID.bounds)


def test_cell_centres_and_back():
    x, y = GRID.xy([0, 3], [0, 5])
    assert x.tolist() == [101.0, 111.0]
    assert y.tolist() == [49.0, 43.0]
    assert GRID.bounds == (100.0, 42.0, 112.0, 50.0)
    assert (GRID.transform.c, GRID.transform.f) == (100.0, 50.0)
    assert GRID.cell_area_m2 == 4.0


@given(st.integers(-3, 9), st.integers(-3, 9))
def test_a_cell_holds_its_own_centre(row, col):
    x, y = GRID.xy(row, col)
    found_row, found_col = GRID.cell(x, y)
    assert (int(found_row), int(found_col)) == (row, col)
    assert [float(v) for v in GRID.position(x, y)] == pytest.approx([row, col])
    assert bool(GRID.holds(row, col)) == (0 <= row < 4 and 0 <= col < 6)


def test_window_and_finer_stay_on_the_same_ground():
    inner = GRID.window(1, 2, 2, 3)
    assert inner.xy(0, 0)[0] == GRID.xy(1, 2)[0]
    assert GRID.finer(4).bounds == GRID.bounds
    assert GRID.finer(4).cell_m == 0.5


def test_sizes_must_be_positive():
    with pytest.raises(GridError, match="positive sizes"):
        Grid(0, 3, 1.0)
    with pytest.raises(GridError, match="positive sizes"):
        Grid(1, 3, float("nan"))


@pytest.mark.parametrize("shape", [
    shapely.box(103, 45, 107.5, 49.2), shapely.Point(104.2, 46.1).buffer(0.1), shapely.Polygon(),
    shapely.LineString([(95, 44), (130, 47)]), shapely.box(90, 30, 99, 41), GRID_BOX,
])  # fmt: skip
def test_cells_that_a_shape_touches_are_those_of_the_whole_grid(shape):
    whole = cells_inside([shape], GRID, all_touched=True)
    np.testing.assert_array_equal(cells_touched(shape, GRID), np.flatnonzero(whole))


def test_neighbours_count_counter_clockwise_from_east():
    assert [(int(r), int(c)) for r, c in zip(D_ROW, D_COL, strict=True)] == [
        (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0), (1, 1),
    ]  # fmt: skip
    for code in range(8):
        back = reverse(code)
        assert (D_ROW[code] + D_ROW[back], D_COL[code] + D_COL[back]) == (0, 0)


def test_elevation_is_cleaned_without_touching_the_argument():
    dem = np.array([[1.0, np.inf], [np.nan, 4.0]])
    clean = checked_elevation(dem)
    assert clean.dtype == np.float32
    assert np.isnan(clean).tolist() == [[False, True], [True, False]]
    assert np.isinf(dem[0, 1])
    with pytest.raises(GridError, match="no finite cell"):
        checked_elevation(np.full((2, 2), np.inf, dtype=np.float32))


def test_checked_elevation_cannot_be_written_to_and_shares_the_callers_cells():
    dem = np.ones((2, 3), dtype=np.float32)
    clean = checked_elevation(dem)
    assert np.shares_memory(clean, dem)
    with pytest.raises(ValueError, match="read-only"):
        clean[0, 0] = 2.0
    dem[0, 0] = 3.0  # the caller's own array stays as it was
    assert clean[0, 0] == 3.0


def test_shapes_must_agree():
    assert checked_same_shape(a=np.zeros((2, 3)), b=np.ones((2, 3))) == (2, 3)
    with pytest.raises(GridError, match=r"a \(2, 3\), b \(3, 2\)"):
        checked_same_shape(a=np.zeros((2, 3)), b=np.ones((3, 2)))


def test_no_cells_have_no_outlines():
    assert outlines(np.zeros((0, 0), dtype=np.int32), Grid(4, 4, 1.0)) == {}


def test_outlines_hold_just_their_cells():
    labels = np.array(
        [[1, 1, 0, 0, 2, 0], [1, 0, 0, 2, 0, 0], [1, 1, 1, 0, 0, 3], [0, 0, 0, 0, 3, 3]], np.int32
    )
    shapes = outlines(labels, GRID)
    assert list(shapes) == [1, 2, 3]
    for label, shape in shapes.items():
        assert shape.is_valid
        assert shape.area == (labels == label).sum() * 4.0
        np.testing.assert_array_equal(cells_inside([shape], GRID), labels == label)
    assert len(shapes[2].geoms) == 2  # cells that touch at a corner only
    assert not cells_inside([], GRID).any()
    assert not cells_inside([shapely.Polygon()], GRID).any()
