"""How much drains through each cell."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.drainage.flow import _kernels
from brimline.drainage.flow.directions import checked_directions, counted_donors
from brimline.errors import GridError
from brimline.grid import NO_DATA, checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Accumulation, Directions


def accumulate(directions: Directions, weights: NDArray[Any] | None = None) -> Accumulation:
    """Add up what drains through each cell, its own share included.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    weights : float (rows, cols), optional
        What each cell gives, such as its area or its runoff; 1 a cell where left out. NaN makes
        everything downstream NaN.

    Returns
    -------
    float64 (rows, cols)
        Cells, or the unit of the weights; NaN at nodata.

    Raises
    ------
    GridError
        If a code is unknown or leads out of the data, the directions run in a circle, or the
        shapes differ.
    """
    codes = checked_directions(directions)
    if weights is None:
        shares = np.ones(1)
    else:
        checked_same_shape(directions=codes, weights=weights)
        shares = np.ascontiguousarray(weights, dtype=np.float64).ravel()
    pending = counted_donors(codes)
    total: Accumulation = np.empty(codes.shape, dtype=np.float64)
    nowhere = np.empty(0, dtype=np.int64)
    results = side_by_side(
        [
            partial(_kernels.gather, codes, pending, shares, total, nowhere, *band)
            for band in bands(codes.shape[0])
        ]
    )
    crossed = np.concatenate([cells for cells, _ in results])
    summed = sum(cells for _, cells in results)
    if crossed.size:
        _, more = _kernels.gather(codes, pending, shares, total, crossed, 0, codes.shape[0])
        summed += more
    if summed < np.count_nonzero(codes != NO_DATA):
        raise GridError("directions run in a circle: not every cell reaches an outlet")
    return total
