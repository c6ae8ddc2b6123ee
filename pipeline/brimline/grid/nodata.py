"""What of the nodata lies outside, and what is enclosed by data."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid import _kernels
from brimline.grid.arrays import checked_same_shape

if TYPE_CHECKING:
    from brimline.grid.arrays import BoolGrid


def outside(nodata: BoolGrid) -> BoolGrid:
    """Tell which nodata is joined to the raster's edge; corners join.

    The rest is enclosed by data: unknown ground rather than the end of the survey.

    Parameters
    ----------
    nodata : bool (rows, cols)

    Returns
    -------
    bool (rows, cols)

    Raises
    ------
    GridError
        If `nodata` is not two-dimensional.
    """
    checked_same_shape(nodata=nodata)
    joined: BoolGrid = _kernels.joined_to_edge(np.ascontiguousarray(nodata, dtype=np.bool_))
    return joined
