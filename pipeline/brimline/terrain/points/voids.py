"""How far ground is from the nearest point of a cloud, and what its level may be off there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation

_BAND_ROWS: Final = 512
_FIRST_LOOK: Final = 64  # cells around a band
_STEPS: Final = (1, 2, 3, 5, 8, 13, 21, 34, 55, 89)  # half widths of voids that are tried [cells]
_FEWEST: Final = 200  # voids from which a mean error is told
_MOST: Final = 2_000_000  # cells that are looked at


def void_distance_m(points: NDArray[np.int32], known: BoolGrid, *, cell_m: float) -> Elevation:
    """Return how far each cell with a level is from the nearest one that holds points.

    Parameters
    ----------
    points : int32 (rows, cols); points a cell, at least one in all.
    known : bool (rows, cols); cells that have a level.

    Returns
    -------
    float32 (rows, cols) [m]; 0 where points are, NaN where there is no level.
    """
    rows, empty = points.shape[0], points == 0
    found = np.full(points.shape, np.nan, dtype=np.float32)
    for top in range(0, rows, _BAND_ROWS):
        wanted = known[top : top + _BAND_ROWS]
        if not wanted.any():
            continue
        look = _FIRST_LOOK
        while True:  # a distance is exact where it is no more than what is seen around the band
            first = max(top - look, 0)
            around = empty[first : top + _BAND_ROWS + look]
            if not around.all():
                apart = ndimage.distance_transform_edt(around)[top - first :][: len(wanted)]
                if apart[wanted].max() <= look or look >= rows:
                    break
            look *= 2
        found[top : top + _BAND_ROWS] = np.where(wanted, apart * cell_m, np.nan)
    return found


def void_errors(
    dem: Elevation, points: NDArray[np.int32], *, cell_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Measure on the survey itself how far a level is off in the middle of a void.

    Levels are drawn across voids that are none: of three cells with points in a row, the middle
    one is held against the mean of the outer two, for ever wider voids. The noise of the three
    levels is part of the difference, so that the error is rather too high.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]
    points : int32 (rows, cols); points a cell.

    Returns
    -------
    half_m, error_m : float64 (widths,) [m]
        Distance to the points, and root mean square of the differences, which never falls; it
        begins with 0 at 0.
    """
    every = max(1, math.isqrt(dem.size // _MOST + 1))
    measured = points > 0
    half, error = [0.0], [0.0]
    for step in _STEPS:
        squares, count = 0.0, 0
        for levels, there in ((dem, measured), (dem.T, measured.T)):
            if levels.shape[1] <= 2 * step:
                continue
            left, middle, right = (slice(0, -2 * step), slice(step, -step), slice(2 * step, None))
            rows = slice(None, None, every)
            on = there[rows, left] & there[rows, middle] & there[rows, right]
            off = levels[rows, middle] - (levels[rows, left] + levels[rows, right]) / 2
            known = off[on & np.isfinite(off)].astype(np.float64)
            squares += float(np.square(known).sum())
            count += known.size
        if count < _FEWEST:
            break
        half.append(step * cell_m)
        error.append(max(math.sqrt(squares / count), error[-1]))
    return np.array(half), np.array(error)


def error_of_levels_m(
    void_m: Elevation,
    half_m: NDArray[np.float64],
    error_m: NDArray[np.float64],
    *,
    point_error_m: float,
) -> Elevation:
    """Return the standard error of each level: of points, and of what lies between them.

    Parameters
    ----------
    void_m : float32 (rows, cols) [m]; distance to the nearest points, NaN is nodata.
    half_m, error_m : as of `void_errors`; beyond the widest the error goes on in proportion.
    point_error_m : standard error of a level where points are [m].

    Returns
    -------
    float32 (rows, cols) [m]
    """
    between = np.interp(void_m, half_m, error_m).astype(np.float32)
    if half_m.size > 1:
        beyond = void_m > half_m[-1]
        between[beyond] = void_m[beyond] * np.float32(error_m[-1] / half_m[-1])
    between[np.isnan(void_m)] = np.nan
    return np.hypot(between, np.float32(point_error_m))
