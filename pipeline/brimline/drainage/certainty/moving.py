"""Following a flow path that a changed surface has moved."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Accumulation


def nearest_alike(
    places: NDArray[np.int64],
    area_m2: Accumulation,
    *,
    least_m2: NDArray[np.float64],
    radii_m: NDArray[np.float64],
    cell_m: float,
) -> NDArray[np.int64]:
    """Move each place to the nearest cell within its radius that gathers at least so much.

    Of equally near cells the one that gathers more is taken, then the first in raster order.
    Where none gathers enough it is the cell within the radius that gathers most, the nearest of
    equals.

    Parameters
    ----------
    places : int64 (places, 2); row and column.
    area_m2 : float64 (rows, cols) [m²]; NaN at nodata.
    least_m2, radii_m : float64 (places,)

    Returns
    -------
    int64 (places, 2)
    """
    moved = places.copy()
    for number, (row, col) in enumerate(places.tolist()):
        reach = math.floor(radii_m[number] / cell_m)
        if reach == 0 or area_m2[row, col] >= least_m2[number]:
            continue
        top, left = max(0, row - reach), max(0, col - reach)
        window = area_m2[top : row + reach + 1, left : col + reach + 1]
        r, c = np.indices(window.shape)
        distance = np.hypot(r + top - row, c + left - col)
        near = (distance <= radii_m[number] / cell_m) & ~np.isnan(window)
        r, c, distance, area = r[near], c[near], distance[near], window[near]
        enough = area >= least_m2[number]
        if enough.any():
            best = np.lexsort((-area, np.where(enough, distance, np.inf)))[0]
        else:
            best = np.lexsort((distance, -area))[0]
        moved[number] = top + r[best], left + c[best]
    return moved
