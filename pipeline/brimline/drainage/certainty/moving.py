"""Following a flow path that a changed surface has moved."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Accumulation

_ALIKE: Final = 2.0  # ratio of areas up to which snapping takes two paths for the same


def nearest_alike(
    places: NDArray[np.int64],
    area_m2: Accumulation,
    *,
    expected_m2: NDArray[np.float64],
    radii_m: NDArray[np.float64],
    cell_m: float,
) -> NDArray[np.int64]:
    """Move each place to the nearest cell within its radius that gathers about as much.

    About as much is between half and twice what is expected. Where no cell does, it is the one
    whose area differs by the smallest ratio. Of equals the nearest is taken, of equally near
    cells the one that gathers more, then the first in raster order.

    Parameters
    ----------
    places : int64 (places, 2); row and column.
    area_m2 : float64 (rows, cols) [m²]; NaN at nodata.
    expected_m2, radii_m : float64 (places,)

    Returns
    -------
    int64 (places, 2)
    """
    moved = places.copy()
    for number, (row, col) in enumerate(places.tolist()):
        reach = math.floor(radii_m[number] / cell_m)
        if reach == 0:
            continue
        top, left = max(0, row - reach), max(0, col - reach)
        window = area_m2[top : row + reach + 1, left : col + reach + 1]
        r, c = np.indices(window.shape)
        distance = np.hypot(r + top - row, c + left - col)
        near = (distance <= radii_m[number] / cell_m) & ~np.isnan(window)
        r, c, distance, area = r[near], c[near], distance[near], window[near]
        ratio = np.maximum(area / expected_m2[number], expected_m2[number] / area)
        best = np.lexsort((-area, distance, np.where(ratio <= _ALIKE, 1.0, ratio)))[0]
        moved[number] = top + r[best], left + c[best]
    return moved
