"""How much drains through each cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.drainage.flow import _kernels
from brimline.drainage.flow.directions import checked_directions
from brimline.drainage.flow.order import upstream_order
from brimline.grid import checked_same_shape

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
    total: Accumulation = _kernels.accumulate(codes, shares, upstream_order(codes))
    return total
