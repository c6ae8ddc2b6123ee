"""From the wide cells of a stem to a smooth course, and how ground rises or falls beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy import ndimage

from brimline.lines._kernels import levels as levels_of
from brimline.lines.relief import _kernels
from brimline.lines.sample import gradient_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid

_STEPS_A_CELL = 4  # points of a course in a wide cell
_BELL_CELLS = 0.75  # standard deviation, in wide cells, of the bell that smooths a course there
_FINE_BELL_CELLS = 0.25  # and after it was laid on the survey
_REACH_CELLS = 2.0  # so far from the wide cells' course the survey's floor is sought
_TREND_SHARE = 0.5  # of the general slope that is taken off while the floor is sought
_LEAST_FALL = 0.2  # part of the floor's mean fall that counts where the floor is level or rises
_LEVEL_GROUND = 1e-4  # per cell
_FALL_STEPS = 24  # to both sides over which that mean is taken
_DRAWN = 0.01  # largest departure of a drawn line from its course, in wide cells


def on_the_floor(
    surface: Elevation,
    grid: Grid,
    points: NDArray[np.float64],
    trend: Elevation,
    wide_grid: Grid,
) -> NDArray[np.float64]:
    """Lay a chain of wide cells on the floor of the valley that it follows, as a smooth line.

    The chain's steps are smoothed off; then the line of steepest descent is followed that starts at
    its head. Lines of descent converge on the floor, the faster the sharper the valley is; and
    still faster once most of the general slope is taken off, which leaves the floor where it is.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; turned upside down for ridges.
    grid : where its cells are.
    points : float64 (n, 2); centres of the wide cells, downstream [m].
    trend, wide_grid : the general slope, and where its wide cells are.

    Returns
    -------
    float64 (n, 2), points at about even steps of a part of a wide cell [m].
    """
    if len(points) < 2:
        return points
    cell_m = wide_grid.cell_m
    xy = smoothed_along(_even_steps(points, cell_m / _STEPS_A_CELL), _BELL_CELLS * _STEPS_A_CELL)
    row, col = grid.position(*xy.T)
    t_row, t_col = np.gradient(row), np.gradient(col)
    length = np.hypot(t_row, t_col)
    levels = levels_at(surface, grid, xy)
    fall = -_running_mean(np.gradient(levels), _FALL_STEPS) / length
    least = np.maximum(_LEAST_FALL * np.nan_to_num(fall), _LEVEL_GROUND)
    t_row, t_col = t_row / length, t_col / length
    reach = _REACH_CELLS * cell_m / grid.cell_m
    east, north = gradient_at(trend, wide_grid, *xy.T)
    off_row, off_col = (np.nan_to_num(_TREND_SHARE * rise * grid.cell_m) for rise in (-north, east))
    aside = _kernels.slope_line(surface, row, col, t_row, t_col, off_row, off_col, least, reach)
    row, col = row + aside * t_col, col - aside * t_row
    return smoothed_along(np.column_stack(grid.xy(row, col)), _FINE_BELL_CELLS * _STEPS_A_CELL)


def _even_steps(points: NDArray[np.float64], step_m: float) -> NDArray[np.float64]:
    along = chainage(points)
    s = np.linspace(0, along[-1], max(int(np.ceil(along[-1] / step_m)), 1) + 1)
    return np.column_stack([np.interp(s, along, points[:, k]) for k in (0, 1)])


def smoothed_along(values: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """Smooth along the first axis by a bell of `sigma` places; both ends stay where they are."""
    reach = min(int(np.ceil(4 * sigma)), len(values) - 1)
    if reach < 1:
        return values.copy()
    # mirrored through the end points, so that these do not move
    before = 2 * values[0] - values[reach:0:-1]
    after = 2 * values[-1] - values[-2 : -reach - 2 : -1]
    padded = np.concatenate([before, values, after])
    smooth = ndimage.gaussian_filter1d(padded, sigma, axis=0, mode="nearest")
    return np.asarray(smooth[reach : reach + len(values)])


def levels_at(surface: Elevation, grid: Grid, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bilinear levels at points (n, 2), as `sample.surface_at`, of a surface that was checked.

    Many short courses are read from one surface; to check all its cells each time would cost more
    than all else.
    """
    row, col = grid.position(xy[:, 0], xy[:, 1])
    levels: NDArray[np.float64] = levels_of(surface, row, col)
    return levels


def chainage(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Length along points from the first to each [m]."""
    steps = np.hypot(*np.diff(xy, axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def rise_beside(
    surface: Elevation, grid: Grid, xy: NDArray[np.float64], *, flank_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How the ground stands beside a course and falls along it; running means over twice the flank.

    Returns
    -------
    rise_m : float64 (n,); mean rise at `flank_m` to both sides: positive in valleys, negative on
        ridges; NaN where a side lies outside the data [m].
    fall : float64 (n,); fall along the course, not negative [m/m].
    """
    step_m = max(float(chainage(xy)[-1]) / max(len(xy) - 1, 1), 1e-6)
    span = max(1, round(0.5 * flank_m / step_m))
    ahead, behind = np.minimum(np.arange(len(xy)) + span, len(xy) - 1), np.arange(len(xy)) - span
    along = xy[ahead] - xy[np.maximum(behind, 0)]
    length = np.hypot(along[:, 0], along[:, 1])
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.where(length > 0, length, 1)[:, None]
    floor = levels_at(surface, grid, xy)
    left, right = (levels_at(surface, grid, xy + side * across) for side in (flank_m, -flank_m))
    fall = -np.gradient(floor) / step_m
    return (
        _running_mean(0.5 * (left + right) - floor, 2 * span),
        np.maximum(np.nan_to_num(_running_mean(fall, 2 * span)), 0.0),
    )


def _running_mean(values: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """Mean over `reach` places to both sides of what is not NaN; NaN stays NaN."""
    known = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    first = np.maximum(np.arange(len(values)) - reach, 0)
    last = np.minimum(np.arange(len(values)) + reach + 1, len(values))
    count = np.maximum(counts[last] - counts[first], 1)
    return np.where(known, (sums[last] - sums[first]) / count, np.nan)


def trimmed(good: NDArray[np.bool_], *, to_end: bool = False) -> slice:
    """Range from the first to the last good place; empty where fewer than half in it are good.

    With `to_end` it goes on to the very last place, if at least half are good even so.
    """
    places = np.flatnonzero(good)
    if places.size < 2:
        return slice(0, 0)
    first, last = int(places[0]), int(places[-1]) + 1
    if to_end and 2 * places.size >= len(good) - first:
        return slice(first, len(good))
    return slice(first, last) if 2 * places.size >= last - first else slice(0, 0)


def drawn(xy: NDArray[np.float64], cell_m: float) -> shapely.LineString:
    """Draw a course with no more points than its bends need."""
    line: shapely.LineString = shapely.simplify(shapely.LineString(xy), _DRAWN * cell_m)
    return line
