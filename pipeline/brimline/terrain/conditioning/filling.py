"""Raising every hollow to its spill level."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid import checked_elevation, checked_same_shape
from brimline.terrain.conditioning import _kernels

if TYPE_CHECKING:
    from brimline.grid import BoolGrid, Elevation


def fill(dem: Elevation, *, sinks: BoolGrid | None = None) -> Elevation:
    """Raise every hollow to its spill level.

    Water leaves at the raster's edge, at nodata that is joined to the edge (corners join), and at
    kept sinks. Nodata enclosed by data is unknown ground, not an outlet: it is taken to be as low
    as need be, so that a hollow beside it fills to the level at which the two together spill.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    sinks : bool (rows, cols), optional
        Cells that are kept as sinks: water ends there and the cells are not raised.

    Returns
    -------
    float32 (rows, cols) [m]
        The lowest surface that is nowhere below `dem` and from which every cell drains; NaN where
        `dem` is. Levels are copied, never computed, so they are exact.

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell or `sinks` has another shape.

    References
    ----------
    Barnes, Lehman & Mulla (2014), Priority-flood, doi:10.1016/j.cageo.2013.04.024
    """
    surface = checked_elevation(dem)
    if sinks is None:
        sinks = np.zeros(surface.shape, dtype=np.bool_)
    checked_same_shape(dem=surface, sinks=sinks)
    filled: Elevation = _kernels.fill(surface, np.ascontiguousarray(sinks, dtype=np.bool_))
    return filled
