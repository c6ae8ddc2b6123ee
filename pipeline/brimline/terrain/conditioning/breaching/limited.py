"""Breaching within limits of depth and length."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.errors import GridError
from brimline.grid import checked_elevation, checked_same_shape
from brimline.grid.nodata import outside
from brimline.terrain.conditioning.breaching import _kernels
from brimline.terrain.conditioning.relations import relations, without_nan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation

_ROOM = 1 << 16  # cells waiting in one search, and cuts listed before they are handed over


def breach(
    dem: Elevation,
    *,
    cell_m: float,
    max_depth_m: float,
    max_length_m: float,
    sinks: BoolGrid | None = None,
) -> Elevation:
    """Cut a level channel from each pit to lower ground, the cheapest within limits.

    From each pit the way is taken, to a cell below the pit or to the rim of the data, on which
    the least is cut: depth of cut times step, summed over the way. The channel is level with the
    pit; a flat drains to its lower end without a made-up fall. Every pit is weighed against the
    surveyed ground, never against other channels, so the order of pits does not matter, and ways
    that cost as much and are as long go by the ground beside them, not by scan order. Pits
    whose every way out is too deep or too long are left as they are.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    max_depth_m : deepest cut below the surveyed ground [m]; may be infinite.
    max_length_m : longest way from a pit's level floor, cell centre to cell centre [m]; may be
        infinite.
    sinks : bool (rows, cols), optional
        Cells that are kept as sinks: no way starts there, and none is cut through them.

    Returns
    -------
    float32 (rows, cols) [m]; nowhere above `dem`, NaN where `dem` is.

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell, `sinks` has another shape, or a
        number is out of range.

    References
    ----------
    Lindsay and Dhun (2015), Modelling surface drainage patterns in altered landscapes using
    LiDAR, doi:10.1080/13658816.2014.975715: the least-cost way out of each pit, within limits.
    """
    surface = checked_elevation(dem)
    if not cell_m > 0 or not max_depth_m >= 0 or not max_length_m >= 0:
        raise GridError(
            f"cell_m must be above 0 m, max_depth_m and max_length_m not negative: "
            f"{cell_m}, {max_depth_m}, {max_length_m}"
        )
    level = without_nan(surface)
    codes = relations(level)
    parts = bands(level.shape[0])
    if level is not surface:
        beyond = outside(np.isnan(surface))
        side_by_side([partial(_kernels.mark_rim, codes, beyond, *band) for band in parts])
    if sinks is not None:
        checked_same_shape(dem=surface, sinks=sinks)
        codes[np.asarray(sinks, dtype=np.bool_)] = _kernels.KEPT
    limits = (float(cell_m), float(max_depth_m), float(max_length_m))
    breached = surface.copy()
    for pieces in side_by_side([partial(search, level, codes, limits, *band) for band in parts]):
        for cells, levels in pieces:
            _kernels.cut(breached, cells, levels)
    return breached


def search(
    level: Elevation,
    codes: NDArray[np.uint8],
    limits: tuple[float, float, float],
    first: int,
    last: int,
) -> list[tuple[NDArray[np.int64], Elevation]]:
    """List the cuts for the pits in rows first to last, with more room where it runs out."""
    pieces = []
    room, begin, end = _ROOM, first * level.shape[1], last * level.shape[1]
    while begin < end:
        cells, levels, reached = _kernels.find_breaches(level, codes, *limits, room, begin, last)
        pieces.append((cells, levels))
        if reached < end and reached == begin:
            room *= 4
        begin = reached
    return pieces
