"""From the wide cells of stems to smooth courses, and how ground rises or falls beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.lines._kernels import levels as levels_of
from brimline.lines.relief import _kernels
from brimline.lines.sample import gradient_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.relief.chains import Chains
    from brimline.lines.relief.ground import ReliefGround

_STEPS_A_CELL = 4  # points of a course in a wide cell
_BELL_CELLS = 0.75  # standard deviation, in wide cells, of the bell that smooths a course there
_FINE_BELL_CELLS = 0.25  # and after it was laid on the survey
_REACH_CELLS = 2.0  # so far from the wide cells' course the survey's floor is sought
_TREND_SHARE = 0.5  # of the general slope that is taken off while the floor is sought
_LEAST_FALL = 0.2  # part of the floor's mean fall that counts where the floor is level or rises
_LEVEL_GROUND = 1e-4  # per cell
_FALL_STEPS = 24  # to both sides over which that mean is taken


def on_the_floor(
    ground: ReliefGround,
    stems: Chains,
    centres: NDArray[np.float64],
    trend: Elevation,
    wide_grid: Grid,
) -> tuple[Chains, NDArray[np.float64]]:
    """Lay chains of wide cells on the floors of the valleys that they follow, as smooth lines.

    A chain's steps are smoothed off; then the line of steepest descent is followed that starts at
    its head. Lines of descent converge on the floor, the faster the sharper the valley is; and
    still faster once most of the general slope is taken off, which leaves the floor where it is.

    Parameters
    ----------
    ground : where the floors are sought.
    stems, centres : centres (points, 2) of the wide cells of each chain, at least two, downstream.
    trend, wide_grid : the general slope, and where its wide cells are.

    Returns
    -------
    For each chain its course, and float64 (points, 2) at about even steps of a part of a wide cell
    [m].
    """
    grid, wide_m = ground.grid, wide_grid.cell_m
    courses, xy = stems.evenly(centres, wide_m / _STEPS_A_CELL)
    xy = courses.smoothed(xy, _BELL_CELLS * _STEPS_A_CELL)
    row, col = grid.position(*xy.T)
    t_row, t_col = courses.change(row), courses.change(col)
    length = np.hypot(t_row, t_col)
    falls = -courses.change(ground.levels_at(xy))
    fall = courses.running_mean(falls, np.full(len(courses.size), _FALL_STEPS)) / length
    least = np.maximum(_LEAST_FALL * np.nan_to_num(fall), _LEVEL_GROUND)
    t_row, t_col = t_row / length, t_col / length
    reach = _REACH_CELLS * wide_m / grid.cell_m
    east, north = gradient_at(trend, wide_grid, *xy.T)
    off_row, off_col = (np.nan_to_num(_TREND_SHARE * rise * grid.cell_m) for rise in (-north, east))
    towards = t_row, t_col, off_row, off_col, least, reach
    aside = _kernels.slope_lines(ground.surface, ground.sign, courses.start, row, col, *towards)
    laid = np.column_stack(grid.xy(row + aside * t_col, col - aside * t_row))
    return courses, courses.smoothed(laid, _FINE_BELL_CELLS * _STEPS_A_CELL)


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
    ground: ReliefGround,
    courses: Chains,
    xy: NDArray[np.float64],
    along_m: NDArray[np.float64],
    floor_m: NDArray[np.float64],
    *,
    flank_m: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How the ground stands beside courses and falls along them; means over twice the flank.

    Parameters
    ----------
    xy, along_m, floor_m : points (points, 2), chainages and levels of the courses [m].

    Returns
    -------
    rise_m : float64 (points,); mean rise at `flank_m` to both sides: positive in valleys; NaN
        where a side lies outside the data [m].
    fall : float64 (points,); fall along the course, not negative [m/m].
    """
    step_m = courses.mean_step(along_m)
    span = np.maximum(1, np.rint(0.5 * flank_m / step_m).astype(np.int64))
    reach = np.repeat(span, courses.size)
    along = xy[courses.shifted(reach)] - xy[courses.shifted(-reach)]
    length = np.hypot(along[:, 0], along[:, 1])
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.where(length > 0, length, 1)[:, None]
    left, right = (ground.levels_at(xy + side * across) for side in (flank_m, -flank_m))
    fall = -courses.change(floor_m) / np.repeat(step_m, courses.size)
    return (
        courses.running_mean(0.5 * (left + right) - floor_m, 2 * span),
        np.maximum(np.nan_to_num(courses.running_mean(fall, 2 * span)), 0.0),
    )
