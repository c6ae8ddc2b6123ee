"""What sheds to each row, and how far it is up the slope to the next one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.drainage.flow import flow_directions
from brimline.grid import OUTLET
from brimline.lines import _kernels as reading
from brimline.lines.sample import along_all
from brimline.lines.strips import _kernels
from brimline.terrain.conditioning.filling import fill

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Directions, Elevation, Grid, Labels


_EVERY_CELLS: Final = 4.0  # between the points of a line from which the way up is walked


def sheet_directions(surface: Elevation, *, hollow_depth_m: float) -> Directions:
    """Flow directions of a surface whose deeper hollows keep their water.

    Water that a hill sheds into a hollow does not cross it: rows beyond its rim get none of it.
    Hollows up to `hollow_depth_m` are filled: on a smoothed survey they are noise.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the survey smoothed, NaN is nodata.
    hollow_depth_m : depth above which a hollow keeps its water [m].

    Returns
    -------
    uint8 (rows, cols), codes of `brimline.grid.neighbours`.

    Raises
    ------
    GridError
        If `surface` is no elevation array.
    """
    depth = fill(surface) - surface
    sinks = (flow_directions(surface) == OUTLET) & (depth > hollow_depth_m)
    return flow_directions(fill(surface, sinks=sinks), sinks=sinks)


def cells_of_lines(lines: Sequence[Any] | NDArray[Any], grid: Grid) -> Labels:
    """Mark the cells of each line with its number from 1; 0 none.

    No step to a neighbour, diagonal ones among them, gets across a line without entering its cells.
    """
    points, index = along_all(lines, grid.cell_m * 64)
    row, col = grid.position(points[:, 0], points[:, 1])
    number = np.arange(1, len(lines) + 1, dtype=np.int32)
    marked: Labels = _kernels.crossed_cells(row + 0.5, col + 0.5, index, number, grid.shape)
    return marked


def sheds_to(marked: Labels, directions: Directions) -> Labels:
    """Return the number of the first line that each cell's water reaches; 0 where there is none."""
    reached: Labels = _kernels.first_reached(directions, marked)
    return reached


def strip_areas_m2(
    marked: Labels,
    sheds: Labels,
    directions: Directions,
    level_m: NDArray[np.float64],
    surface: Elevation,
    grid: Grid,
) -> NDArray[np.float64]:
    """Area that sheds to each line [m²].

    Of a cell on a line the part above its level counts to it, and the rest to the line that water
    from there reaches next.

    Parameters
    ----------
    marked : int32 (rows, cols), the line on each cell, from 1.
    sheds : int32 (rows, cols), the line that each cell sheds to.
    directions : uint8 (rows, cols), codes of `brimline.grid.neighbours`.
    level_m : (lines,) level of each line [m].
    surface : float32 (rows, cols) [m]
    """
    count = len(level_m)
    area = np.bincount(sheds.ravel(), minlength=count + 1).astype(np.float64)
    row, col = np.nonzero(marked)
    line = marked[row, col]
    down, along = reading.rises(surface, row.astype(np.float64), col.astype(np.float64))
    # over a cell the surface spans |down| + |along|; its level crosses it in proportion
    span = np.maximum(np.abs(down) + np.abs(along), 1e-9)
    part = np.clip(0.5 - (surface[row, col] - level_m[line - 1]) / span, 0.0, 1.0)
    below = np.nan_to_num(part, nan=0.5)
    then = _kernels.reached_below(directions, marked, sheds, row * grid.cols + col)
    area -= np.bincount(line, below, minlength=count + 1)
    area += np.bincount(then, below, minlength=count + 1)
    return np.asarray(area[1:] * grid.cell_area_m2)


def spacings_m(
    lines: Sequence[Any] | NDArray[Any],
    level_m: ArrayLike,
    surface: Elevation,
    grid: Grid,
    marked: Labels,
    sheds: Labels,
) -> NDArray[np.float64]:
    """Mean distance over the ground, up the slope, from each line to the next or the divide [m]."""
    points, index = along_all(lines, _EVERY_CELLS * grid.cell_m)
    row, col = grid.position(points[:, 0], points[:, 1])
    owner = (index + 1).astype(np.int32)
    level = np.concatenate(([np.nan], np.asarray(level_m, dtype=np.float64)))
    far = _kernels.up_slope(surface, row, col, owner, level, marked, sheds, grid.cell_m)
    known = np.isfinite(far)
    total = np.bincount(index[known], far[known], minlength=len(lines))
    number = np.bincount(index[known], minlength=len(lines)).astype(np.float64)
    with np.errstate(invalid="ignore"):
        return np.asarray(total / number)
