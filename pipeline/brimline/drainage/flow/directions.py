"""Which neighbour receives the water of each cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.drainage.flow import _kernels
from brimline.errors import GridError
from brimline.grid import checked_elevation, checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Directions, Elevation


def flow_directions(surface: Elevation, *, sinks: BoolGrid | None = None) -> Directions:
    """Send each cell's water to its steepest lower neighbour.

    - Of equally steep neighbours the first in raster order receives (NW, N, NE, W, E, SW, S, SE).
    - A cell at the rim of the data (on the raster's edge, or beside nodata that is joined to the
      edge) is an outlet if no neighbour is lower, and drains inwards otherwise.
    - A flat drains away from higher and towards lower ground, without touching the elevations.
    - Where water can go nowhere, which happens on a surface that was not filled, the pit's
      cells beside enclosed nodata, or else its first cell in raster order, are outlets.

    There are no cycles, and every valid cell reaches an outlet.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    sinks : bool (rows, cols), optional
        Cells that are kept as sinks; each is an outlet.

    Returns
    -------
    uint8 (rows, cols)
        0 to 7 counter-clockwise from east, 8 outlet or kept sink, 255 nodata.

    Raises
    ------
    GridError
        If `surface` is not a 2-D float array with a finite cell or `sinks` has another shape.

    References
    ----------
    O'Callaghan & Mark (1984), doi:10.1016/S0734-189X(84)80011-0;
    Barnes, Lehman & Mulla (2014b), An efficient assignment of drainage direction over flat
    surfaces, doi:10.1016/j.cageo.2013.01.009
    """
    dem = checked_elevation(surface, "surface")
    if sinks is None:
        sinks = np.zeros(dem.shape, dtype=np.bool_)
    checked_same_shape(surface=dem, sinks=sinks)
    directions = _kernels.steepest(dem, np.ascontiguousarray(sinks, dtype=np.bool_))
    decided: Directions = _kernels.drain_flats(dem, directions)
    return decided


def checked_directions(directions: NDArray[Any]) -> Directions:
    """Return `directions` as C-contiguous after checking every code.

    Raises
    ------
    GridError
        If it is not a 2-D uint8 array, or a code is unknown or leads out of the data.
    """
    if directions.ndim != 2 or directions.dtype != np.uint8:
        raise GridError(
            f"directions must be a 2-D uint8 array, got {directions.ndim}-D {directions.dtype}"
        )
    codes: Directions = np.ascontiguousarray(directions)
    cell = int(_kernels.first_bad(codes))
    if cell >= 0:
        row, col = divmod(cell, codes.shape[1])
        raise GridError(
            f"directions hold {codes[row, col]} at row {row}, column {col}: unknown, or leading "
            f"out of the data; codes are 0 to 7, 8 and 255"
        )
    return codes
