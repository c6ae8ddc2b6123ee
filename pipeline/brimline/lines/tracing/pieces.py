"""Contours that each run through one labelled piece of ground at a level of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.grid import checked_same_shape
from brimline.lines.sample import checked_on_grid
from brimline.lines.tracing import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid, Labels


def traced(
    surface: Elevation, piece: Labels, level_m: NDArray[np.float64], grid: Grid
) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Trace each piece's level between cell centres of which at least one is its own.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata.
    piece : int32 (rows, cols), number of the piece of each cell; 0 none.
    level_m : float64 (pieces + 1,), level of each piece, NaN for none [m].

    Returns
    -------
    lines : (lines,) LineStrings, the higher ground on their right.
    piece : int64 (lines,), the piece of each.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    """
    dem = checked_on_grid(surface, grid, "surface")
    checked_same_shape(surface=dem, piece=piece)
    segment = _kernels.segments(dem, piece, level_m)
    entered = np.lexsort((segment[:, 1], segment[:, 0]))
    left = np.lexsort((segment[:, 2], segment[:, 0]))
    points, start, owner = _kernels.chained(dem, level_m, segment, entered, left)
    if len(owner) == 0:
        return np.zeros(0, dtype=object), owner
    index = np.repeat(np.arange(len(owner)), np.diff(start))
    x, y = grid.xy(points[:, 0], points[:, 1])
    lines = np.asarray(shapely.linestrings(np.column_stack((x, y)), indices=index))
    lines = np.asarray(shapely.remove_repeated_points(lines))
    real = shapely.length(lines) > 0
    return lines[real], owner[real]


def lengths_m(
    surface: Elevation, piece: Labels, level_m: NDArray[np.float64], grid: Grid
) -> NDArray[np.float64]:
    """Measure the lines that `traced` would find, without making them.

    Parameters and errors are those of `traced`.

    Returns
    -------
    float64 (pieces + 1,), length of all lines of each piece [m].
    """
    dem = checked_on_grid(surface, grid, "surface")
    checked_same_shape(surface=dem, piece=piece)
    return np.asarray(_kernels.lengths(dem, piece, level_m) * grid.cell_m)
