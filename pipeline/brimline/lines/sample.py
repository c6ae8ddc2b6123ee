"""Reading a surface between its cell centres, at points and densely along lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.errors import GridError
from brimline.grid import checked_elevation
from brimline.lines import _kernels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Elevation, Grid


def checked_on_grid(dem: Elevation, grid: Grid, name: str = "dem") -> Elevation:
    """Return `dem` as checked elevation that lies on `grid`.

    Raises
    ------
    GridError
        If it is no elevation array or its shape is not the grid's.
    """
    surface = checked_elevation(dem, name)
    if surface.shape != grid.shape:
        raise GridError(f"{name} {surface.shape} does not lie on the grid of shape {grid.shape}")
    return surface


def _positions(
    grid: Grid, x: ArrayLike, y: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], tuple[int, ...]]:
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    row, col = grid.position(x, y)
    return np.ascontiguousarray(row).ravel(), np.ascontiguousarray(col).ravel(), x.shape


def frame_of(grid: Grid) -> tuple[float, float, float]:
    """Return west and north edge and cell side of a grid [m], as kernels take them."""
    return float(grid.west_m), float(grid.north_m), float(grid.cell_m)


def vertices_of(
    lines: Sequence[shapely.LineString] | NDArray[Any],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Vertices of many lines, float64 (vertices, 2) [m], and the place of each one's line."""
    vertices, index = shapely.get_coordinates(np.asarray(lines, dtype=object), return_index=True)
    return vertices, index


def surface_at(dem: Elevation, grid: Grid, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Bilinear level of the surface at points.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    x, y : map coordinates [m], broadcast against each other.

    Returns
    -------
    float64, the points' shape [m]; NaN outside the outermost cell centres and beside nodata.

    Raises
    ------
    GridError
        If `dem` is no elevation array on `grid`.
    """
    return levels_of(checked_on_grid(dem, grid), grid, x, y)


def gradient_at(
    dem: Elevation, grid: Grid, x: ArrayLike, y: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rise of the surface eastwards and northwards at points.

    Central differences at the four cell centres around, interpolated bilinearly: continuous from
    cell to cell and exact on a plane.

    Returns
    -------
    east, north : float64, the points' shape [m/m]; NaN where `surface_at` is.

    Raises
    ------
    GridError
        As `surface_at`.
    """
    return rises_of(checked_on_grid(dem, grid), grid, x, y)


def levels_of(surface: Elevation, grid: Grid, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Read `surface_at` from a surface that was checked.

    Where a surface is read many times over, checking all its cells each time costs more than all
    else; so it is checked once, at the door.
    """
    row, col, shape = _positions(grid, x, y)
    found: NDArray[np.float64] = _kernels.levels(surface, row, col)
    return found.reshape(shape)


def rises_of(
    surface: Elevation, grid: Grid, x: ArrayLike, y: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Read `gradient_at` from a surface that was checked."""
    row, col, shape = _positions(grid, x, y)
    down, along = _kernels.rises(surface, row, col)
    return (along / grid.cell_m).reshape(shape), (-down / grid.cell_m).reshape(shape)


def along(line: shapely.LineString, step_m: float) -> NDArray[np.float64]:
    """Points on a line at most `step_m` apart, its own vertices among them.

    Returns
    -------
    float64 (points, 2) [m]

    Raises
    ------
    ValueError
        If `step_m` is not positive.
    """
    points, _ = along_all([line], step_m)
    return points


def along_all(
    lines: Sequence[shapely.LineString] | NDArray[Any], step_m: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points on many lines as `along`, and the place of each point's line in `lines`.

    Returns
    -------
    points : float64 (points, 2) [m]
    index : int64 (points,)

    Raises
    ------
    ValueError
        If `step_m` is not positive.
    """
    if not step_m > 0:
        raise ValueError(f"step_m must be above 0 m, got {step_m}")
    dense = shapely.segmentize(np.asarray(lines, dtype=object), step_m)
    points, index = shapely.get_coordinates(dense, return_index=True)
    return points, index


def chainage(points: NDArray[np.float64], index: NDArray[np.int64]) -> NDArray[np.float64]:
    """Distance of each point from the start of its own line.

    Parameters
    ----------
    points : float64 (points, 2) [m], line after line.
    index : int64 (points,), the line of each point, rising.

    Returns
    -------
    float64 (points,) [m]
    """
    along: NDArray[np.float64] = _kernels.chainages(points, index)
    return along


def onto_level(
    dem: Elevation,
    grid: Grid,
    points: NDArray[np.float64],
    level_m: ArrayLike,
    *,
    reach_m: float,
) -> NDArray[np.float64]:
    """Move points along the surface's gradient until they lie at a level.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    points : float64 (points, 2) [m]
    level_m : one level, or one for each point [m].
    reach_m : a point that would have to move farther stays where it is [m].

    Returns
    -------
    float64 (points, 2) [m]

    Raises
    ------
    GridError
        If `dem` is no elevation array on `grid`.
    """
    row, col, _ = _positions(grid, points[:, 0], points[:, 1])
    target = np.array(np.broadcast_to(np.asarray(level_m, dtype=np.float64), row.shape))
    surface = checked_on_grid(dem, grid)
    row, col = _kernels.onto_level(surface, row, col, target, reach_m / grid.cell_m, 1e-5)
    return np.column_stack(grid.xy(row, col))


def on_grid(array: Elevation, own: Grid, grid: Grid) -> Elevation:
    """Return levels at the cell centres of another grid in the same CRS, NaN where there are none.

    Cells that coincide are kept as they are; others are read between cell centres.

    Parameters
    ----------
    array : float32 (rows, cols) on `own` [m]; NaN is nodata.
    """
    if own == grid:
        return array
    shift = np.array(own.position(*grid.xy(0, 0))).ravel()
    if own.cell_m == grid.cell_m and np.abs(shift - shift.round()).max() < 1e-6:
        return _window(array, int(shift[0].round()), int(shift[1].round()), grid.shape)
    x, _ = grid.xy(np.zeros(grid.cols), np.arange(grid.cols))
    _, y = grid.xy(np.arange(grid.rows), np.zeros(grid.rows))
    levels = np.full(grid.shape, np.nan, dtype=np.float32)
    for at in range(grid.rows):
        levels[at] = surface_at(array, own, x, y[at])
    return levels


def _window(array: Elevation, row: int, col: int, shape: tuple[int, int]) -> Elevation:
    """Cut a block of cells out of an array, NaN where it has none."""
    found = np.full(shape, np.nan, dtype=np.float32)
    top, left = max(row, 0), max(col, 0)
    bottom = min(row + shape[0], array.shape[0])
    right = min(col + shape[1], array.shape[1])
    if bottom > top and right > left:
        found[top - row : bottom - row, left - col : right - col] = array[top:bottom, left:right]
    return found
