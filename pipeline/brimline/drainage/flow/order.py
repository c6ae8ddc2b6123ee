"""An order in which every cell comes before the cell that receives its water."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.drainage.flow import _kernels
from brimline.drainage.flow.directions import checked_directions, counted_donors
from brimline.errors import GridError
from brimline.grid import NO_DATA

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Directions


def upstream_order(directions: Directions) -> NDArray[Any]:
    """List the valid cells with donors before receivers; backwards it goes upstream.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.

    Returns
    -------
    int32 (valid cells,), int64 on grids of 2^31 cells and more
        Linear indices `row * cols + col`; the order depends on the directions alone.

    Raises
    ------
    GridError
        If a code is unknown or leads out of the data, or the directions run in a circle.
    """
    codes = checked_directions(directions)
    pending = counted_donors(codes)
    valid = codes.size - int(np.count_nonzero(codes == NO_DATA))
    order = np.empty(valid, dtype=np.int32 if codes.size < 2**31 else np.int64)
    if _kernels.order_downstream(codes, pending, order) < valid:
        raise GridError("directions run in a circle: not every cell reaches an outlet")
    return order
