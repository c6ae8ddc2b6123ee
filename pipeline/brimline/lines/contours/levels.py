"""At which levels contours are drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation


def contour_levels(dem: Elevation, interval_m: float) -> NDArray[np.float64]:
    """Levels at whole multiples of an interval, within the surface's range.

    Returns
    -------
    float64 (levels,) [m], rising.

    Raises
    ------
    GridError
        If `dem` is no elevation array.
    ValueError
        If `interval_m` is not positive.
    """
    if not interval_m > 0:
        raise ValueError(f"interval_m must be above 0 m, got {interval_m}")
    surface = checked_elevation(dem)
    first = np.ceil(float(np.nanmin(surface)) / interval_m)
    last = np.floor(float(np.nanmax(surface)) / interval_m)
    return np.asarray(np.arange(first, last + 1) * interval_m)


def is_index(
    levels_m: NDArray[np.float64], interval_m: float, index_every: int
) -> NDArray[np.bool_]:
    """Tell which levels are index contours: every so many intervals, counted from 0 m.

    Raises
    ------
    ValueError
        If `interval_m` is not positive or `index_every` is below 1.
    """
    if not interval_m > 0 or index_every < 1:
        raise ValueError(
            f"interval_m must be above 0 m and index_every at least 1, got {interval_m} "
            f"and {index_every}"
        )
    number = np.rint(np.asarray(levels_m) / interval_m).astype(np.int64)
    return np.asarray(number % index_every == 0)
