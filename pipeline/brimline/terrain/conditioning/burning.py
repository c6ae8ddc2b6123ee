"""Opening the surface along culverts and drains, which a survey from above does not see."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.errors import GridError
from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Elevation


@dataclass(frozen=True, slots=True)
class Burned:
    """A surface after pipes were burned into it.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; nowhere above the ground, NaN where the ground is.
    left_out : numbers, from 0, of the lines with no ground at an end, which were not burned.
    """

    surface: Elevation
    left_out: tuple[int, ...]


def burn(
    dem: Elevation, lines: Iterable[ArrayLike], *, cell_m: float, reach_m: float = 2.0
) -> Burned:
    """Lower the surface along each pipe so that it falls steadily from inlet to outlet.

    A line may be drawn either way. At each end the lowest ground within reach is sought, since an
    end is rarely drawn in the very bottom of its ditch; water runs from the end whose lowest
    ground is higher. Along the line the surface is lowered to the straight grade between the two
    levels, and left alone where it lies below the grade already: ground is never raised. Nodata
    stays nodata, and what of a line lies outside the raster is passed over.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    lines : of float (points, 2)
        Each pipe as fractional (row, column), whole numbers being cell centres.
    cell_m : side of a cell [m].
    reach_m : how far from an end its lowest ground is sought [m].

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell, a line is not a list of at least two
        finite (row, column) points, or a number is out of range.
    """
    surface = checked_elevation(dem)
    if not cell_m > 0 or not reach_m >= 0:
        raise GridError(
            f"cell_m must be above 0 m, reach_m not negative: got {cell_m} and {reach_m}"
        )
    burned = surface.copy()
    left_out = []
    for number, line in enumerate(lines):
        points = np.asarray(line, dtype=np.float64)
        if points.ndim != 2 or points.shape[0] < 2 or points.shape[1] != 2:
            raise GridError(f"line {number} must be 2 or more (row, column), got {points.shape}")
        if not np.isfinite(points).all():
            raise GridError(f"line {number} holds a point that is not finite")
        if not _burn_line(surface, burned, points, reach_m / cell_m):
            left_out.append(number)
    return Burned(burned, tuple(left_out))


def _burn_line(
    surface: Elevation, burned: Elevation, points: NDArray[np.float64], reach: float
) -> bool:
    """Lower `burned` along one line by the levels of `surface`; False where an end has none."""
    ends = [_lowest_near(surface, points[end], reach) for end in (0, -1)]
    if ends[0] is None or ends[1] is None:
        return False
    first, last = ends[0], ends[1]
    cells = _cells_along(np.vstack([first, points, last]), surface.shape)
    if surface[first] < surface[last]:
        cells = cells[::-1]
        first, last = last, first
    walked = np.hypot(*np.diff(cells, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(walked)]) / max(walked.sum(), 1.0)
    high, low = np.float64(surface[first]), np.float64(surface[last])
    # rounding to float32 keeps the order of levels, so the grade never rises
    grade = (high + (low - high) * along).astype(np.float32)
    rows, cols = cells.T
    inside = (rows >= 0) & (cols >= 0) & (rows < surface.shape[0]) & (cols < surface.shape[1])
    place = rows[inside], cols[inside]
    np.fmin.at(burned, place, np.where(np.isnan(burned[place]), np.nan, grade[inside]))
    return True


def _lowest_near(
    surface: Elevation, point: NDArray[np.float64], reach: float
) -> tuple[int, int] | None:
    """Cell with the lowest ground whose centre is within reach, or the point's own cell."""
    row, col = np.floor(point + 0.5).astype(int)
    width = int(reach) + 1
    top, left = max(row - width, 0), max(col - width, 0)
    block = surface[top : max(row + width + 1, 0), left : max(col + width + 1, 0)]
    rows, cols = np.indices(block.shape)
    rows, cols = rows + top, cols + left
    near = np.hypot(rows - point[0], cols - point[1]) <= reach
    near |= (rows == row) & (cols == col)
    levels = np.where(near, block, np.nan)
    if np.isnan(levels).all():
        return None
    at = int(np.nanargmin(levels))
    return int(rows.flat[at]), int(cols.flat[at])


def _cells_along(points: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.int64]:
    """Cells of a line in order, each touching the next at a side or a corner."""
    reach = 2.0 * max(shape)
    points = np.clip(points, -reach, reach)  # far outside the raster the exact way is idle
    parts = [np.floor(points[:1] + 0.5).astype(np.int64)]
    for start, stop in itertools.pairwise(points):
        start, stop = np.floor(start + 0.5), np.floor(stop + 0.5)
        steps = int(np.abs(stop - start).max())
        share = np.arange(1, steps + 1)[:, None] / max(steps, 1)
        parts.append(np.floor(start + (stop - start) * share + 0.5).astype(np.int64))
    return np.vstack(parts)
