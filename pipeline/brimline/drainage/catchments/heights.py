"""Height of the ground above the flow path that it drains to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.catchments import _kernels
from brimline.drainage.flow.directions import checked_directions, counted_donors
from brimline.errors import GridError
from brimline.grid import checked_elevation, checked_same_shape

if TYPE_CHECKING:
    from brimline.grid import BoolGrid, Directions, Elevation


def height_above_drainage(
    surface: Elevation, directions: Directions, drains: BoolGrid
) -> Elevation:
    """Measure how high each cell stands above the first drainage cell on its water's way.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        The surface that the directions came from; on another one heights may be negative.
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    drains : bool (rows, cols)
        Drainage cells, such as those whose contributing area is above a threshold.

    Returns
    -------
    float32 (rows, cols) [m]
        0 on drainage cells; NaN at nodata and where the water meets no drainage cell.

    Raises
    ------
    GridError
        If the shapes differ, a direction is wrong, or the directions run in a circle.

    References
    ----------
    Rennó et al. (2008), HAND, a new terrain descriptor using SRTM-DEM,
    doi:10.1016/j.rse.2008.03.018; Nobre et al. (2011), Height Above the Nearest Drainage,
    doi:10.1016/j.jhydrol.2011.03.051
    """
    checked_same_shape(surface=surface, directions=directions, drains=drains)
    codes = checked_directions(directions)
    counted_donors(codes)  # refuses codes that lead out of the data
    base = np.full(codes.shape, -1, dtype=np.int64)
    height: Elevation = np.empty(codes.shape, dtype=np.float32)
    channel = np.ascontiguousarray(drains, dtype=np.bool_)
    if not _kernels.heights(codes, checked_elevation(surface, "surface"), channel, base, height):
        raise GridError("directions run in a circle: not every cell reaches an outlet")
    return height
