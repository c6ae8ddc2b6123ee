"""Triangles that follow a surface: closed, complete, and within their error."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.errors import GridError
from brimline.grid import Grid
from brimline.terrain.triangles import triangulated


def areas(mesh):
    x, y = mesh.x[mesh.faces], mesh.y[mesh.faces]
    return (
        (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])
    ) / 2


def edges(mesh):
    sides = np.sort(mesh.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    return np.unique(sides, axis=0, return_counts=True)


@pytest.mark.interpreted
def test_a_plane_is_two_triangles():
    down, along = np.indices((9, 9))
    mesh = triangulated(100 + 0.1 * down - 0.3 * along, Grid(9, 9, 2.0, 10.0, 50.0), 0.001)
    assert len(mesh.faces) == 2
    assert sorted(zip(mesh.x, mesh.y, strict=True)) == [(11, 33), (11, 49), (27, 33), (27, 49)]
    np.testing.assert_allclose(areas(mesh), 128)
    assert mesh.error_m < 1e-9


@pytest.mark.interpreted
def test_small_triangles_lie_only_where_the_ground_bends():
    level = np.zeros((33, 33))
    level[:, 20:] = 1.0  # a step
    mesh = triangulated(level, Grid(33, 33, 1.0, 0.0, 33.0), 0.01)
    assert mesh.error_m <= 0.01
    assert len(mesh.faces) < 33 * 33
    over_the_step = np.ptp(mesh.z[mesh.faces], axis=1) > 0
    assert areas(mesh)[over_the_step].max() <= 1.0
    assert areas(mesh).max() > 16


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 100_000))
def test_any_surface_is_covered_once_without_cracks_within_the_error(seed):
    """Areas add up to the grid's, no edge has more than two faces, and no level is missed."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(2, 40, 2)
    level = np.cumsum(np.cumsum(rng.normal(0, 0.05, (rows, cols)), axis=0), axis=1)
    level = level.astype(np.float32)
    error = rng.uniform(0, 0.1)
    mesh = triangulated(level, Grid(int(rows), int(cols), 1.0, 0.0, float(rows)), error)
    assert mesh.error_m <= error + 1e-9
    assert (areas(mesh) > 0).all()
    np.testing.assert_allclose(areas(mesh).sum(), (rows - 1) * (cols - 1))
    sides, count = edges(mesh)
    assert count.max() <= 2
    rim = count == 1  # a crack would leave an edge inside with one face
    ends = np.stack([mesh.x[sides[rim]], mesh.y[sides[rim]]], axis=2)
    low, high = np.array([0.5, 0.5]), np.array([cols - 0.5, rows - 0.5])
    on_rim = ((ends == low) | (ends == high)).any(axis=2).all(axis=1)
    assert on_rim.all()
    row, col = np.array(np.round(rows - mesh.y - 0.5), int), np.array(np.round(mesh.x - 0.5), int)
    np.testing.assert_array_equal(mesh.z, level[row, col])


def test_no_triangle_touches_nodata_and_none_is_lost_beside_it():
    rng = np.random.default_rng(3)
    level = rng.normal(0, 1, (20, 20))
    level[5:9, 6:12] = np.nan
    mesh = triangulated(level, Grid(20, 20, 1.0, 0.0, 20.0), 0.0)
    assert np.isfinite(mesh.z).all()
    # 19 × 19 squares less those that touch the hole, but for halves at its corners
    whole = 19 * 19 - 5 * 7
    assert whole <= areas(mesh).sum() <= whole + 4 * 0.5
    flat = np.zeros((20, 20))
    flat[5:9, 6:12] = np.nan
    mesh = triangulated(flat, Grid(20, 20, 1.0, 0.0, 20.0), 0.5)
    assert whole <= areas(mesh).sum() <= whole + 4 * 0.5


def test_unusable_surfaces_are_refused():
    with pytest.raises(GridError, match="does not lie on the grid"):
        triangulated(np.zeros((3, 3)), Grid(3, 4, 1.0), 0.0)
    with pytest.raises(GridError, match="error_m must be 0 m or more"):
        triangulated(np.zeros((3, 3)), Grid(3, 3, 1.0), -1.0)
    with pytest.raises(GridError, match="no three neighbouring cells"):
        triangulated(np.full((3, 3), np.nan), Grid(3, 3, 1.0), 0.0)
