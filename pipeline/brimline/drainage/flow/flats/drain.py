"""Deciding the directions that steepest descent leaves open."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.drainage.flow.flats import _kernels

if TYPE_CHECKING:
    from brimline.grid import Directions, Elevation


def drain_flats(dem: Elevation, codes: Directions) -> None:
    """Decide the undecided cells of `codes` in place.

    Flats within one band of rows are decided side by side, the others after them, and what is
    tied when all are done.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    codes : uint8 (rows, cols)
        Directions, with `_kernels.UNDECIDED` where no neighbour is lower, which is never so on
        the raster's edge.

    References
    ----------
    Barnes, Lehman & Mulla (2014b), An efficient assignment of drainage direction over flat
    surfaces, doi:10.1016/j.cageo.2013.01.009
    """
    steps = np.zeros(dem.shape, dtype=np.int32)
    parts = bands(dem.shape[0])
    deferred = side_by_side(
        [partial(_kernels.drain_flats, dem, codes, steps, *band) for band in parts]
    )
    starts = np.concatenate(deferred)
    if starts.size:
        room = int(np.count_nonzero(codes == _kernels.UNDECIDED))
        _kernels.drain_deferred(dem, codes, steps, starts, room)
    side_by_side([partial(_kernels.settle_ties, dem, codes, steps, *band) for band in parts])
