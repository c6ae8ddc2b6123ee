"""Which neighbour receives the water of each cell."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.drainage.flow import _kernels
from brimline.drainage.flow.flats import drain_flats
from brimline.errors import GridError
from brimline.grid import (
    D_COL,
    D_ROW,
    NO_DATA,
    OUTLET,
    checked_elevation,
    checked_same_shape,
    read_only,
)
from brimline.grid.nodata import outside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Directions, Elevation
    from brimline.grid.tiles import Window


def flow_directions(surface: Elevation, *, sinks: BoolGrid | None = None) -> Directions:
    """Send each cell's water to its steepest lower neighbour.

    - Of equally steep neighbours the one nearest the downslope of a plane fitted to the ground
      around receives, the window growing from 3 to 65 cells until one is left: turning or
      mirroring the ground turns or mirrors the flow. Only where the ground is symmetric as far as
      that is the lowest code taken.
    - A cell at the rim of the data (on the raster's edge, or beside nodata that is joined to the
      edge) is an outlet if no neighbour is lower, and drains inwards otherwise.
    - A flat drains away from higher and towards lower ground, without touching the elevations;
      ties in it go by its own gradient first, and then as above.
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
    surfaces, doi:10.1016/j.cageo.2013.01.009. That ties go by the ground is our own rule.
    """
    dem = checked_elevation(surface, "surface")
    if sinks is not None:
        checked_same_shape(surface=dem, sinks=sinks)
    codes: Directions = np.empty(dem.shape, dtype=np.uint8)
    parts = bands(dem.shape[0])
    counts = side_by_side([partial(_kernels.steepest, dem, codes, *band) for band in parts])
    undecided, nodata = (sum(column) for column in zip(*counts, strict=True))
    if sinks is not None:
        codes[np.asarray(sinks, dtype=np.bool_) & (codes != NO_DATA)] = OUTLET
    if undecided and nodata:
        beyond = outside(codes == NO_DATA)
        side_by_side([partial(_kernels.settle_rim, codes, beyond, *band) for band in parts])
    if undecided:
        drain_flats(dem, codes)
    return codes


def checked_directions(directions: NDArray[Any]) -> Directions:
    """Return `directions` as C-contiguous uint8, read-only; the codes are checked where counted.

    Raises
    ------
    GridError
        If it is not a 2-D uint8 array.
    """
    if directions.ndim != 2 or directions.dtype != np.uint8:
        raise GridError(
            f"directions must be a 2-D uint8 array, got {directions.ndim}-D {directions.dtype}"
        )
    return read_only(np.ascontiguousarray(directions))


def counted_donors(codes: Directions) -> NDArray[np.uint8]:
    """Count the donors of each cell, and check every code on the way.

    Returns
    -------
    uint8 (rows, cols)
        Donors, plus 16 where there is more than one.

    Raises
    ------
    GridError
        If a code is unknown or leads out of the data.
    """
    pending = np.empty_like(codes)
    wrong = side_by_side(
        [partial(_kernels.donors, codes, pending, *band) for band in bands(codes.shape[0])]
    )
    if sum(wrong):
        raise GridError(
            f"directions hold {sum(wrong)} codes that are unknown or lead out of the data; codes "
            f"are 0 to 7 for a neighbour with data, {OUTLET} for an outlet and {NO_DATA} for nodata"
        )
    return pending


def within(directions: Directions, block: Window) -> Directions:
    """Return the directions of a block of cells, with outlets where water leaves the block.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    block : lies inside them.

    Returns
    -------
    uint8 (block.rows, block.cols), a copy.
    """
    codes: Directions = directions[block.slices].copy()
    for edge, step, out in (
        (codes[0], D_ROW, -1),
        (codes[-1], D_ROW, 1),
        (codes[:, 0], D_COL, -1),
        (codes[:, -1], D_COL, 1),
    ):
        edge[np.isin(edge, np.flatnonzero(step == out))] = OUTLET
    return codes
