"""An order in which every cell comes before the cell that receives its water."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.drainage.flow import _kernels
from brimline.drainage.flow.directions import checked_directions
from brimline.errors import GridError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from brimline.grid import Directions


def upstream_order(directions: Directions) -> NDArray[np.int64]:
    """List the valid cells with donors before receivers; backwards it goes upstream.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.

    Returns
    -------
    int64 (valid cells,)
        Linear indices `row * cols + col`; the order depends on the directions alone.

    Raises
    ------
    GridError
        If a code is unknown or leads out of the data, or the directions run in a circle.
    """
    order: NDArray[np.int64] = _kernels.upstream_order(checked_directions(directions))
    if order.size and order[-1] < 0:
        raise GridError("directions run in a circle: not every cell reaches an outlet")
    return order
