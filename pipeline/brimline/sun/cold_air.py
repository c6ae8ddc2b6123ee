"""Where cold air gathers on still, clear nights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.errors import Problem, Severity
from brimline.grid import checked_elevation, read_only
from brimline.grid.blocks import block_means, refined
from brimline.sun import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation

_ACROSS: Final = 16  # coarse cells in the radius
_STEEP: Final = np.tan(np.radians(30.0))  # ground steeper lets cold air run off


def low_ground(
    dem: Elevation, *, cell_m: float, radius_m: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Rank of each place among the ground around it, and how much that rises and falls.

    Worked on cells of a sixteenth of the radius, straight between them.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    radius_m : of the ground around a place [m].

    Returns
    -------
    rank : float32 (rows, cols) share of the ground around that lies lower, 0 the lowest.
    relief_m : float32 (rows, cols) highest less lowest ground around [m].
    """
    ground = checked_elevation(dem)
    factor = max(1, int(radius_m / _ACROSS / cell_m))
    coarse = block_means(ground, factor)
    rank, relief = _kernels.rank_around(read_only(coarse), radius_m / (factor * cell_m))
    fine = [refined(each, factor, ground.shape) for each in (rank, relief)]
    for each in fine:
        each[np.isnan(ground)] = np.nan
    return fine[0], fine[1]


def looked_m(shape: tuple[int, ...], *, cell_m: float, radius_m: float) -> float:
    """How far around a place is looked: the radius, or half the width of a smaller survey [m]."""
    return min(radius_m, min(shape) * cell_m / 2)


def narrow_told(looked_m: float, radius_m: float) -> list[Problem]:
    """Say where a survey is too narrow to look as far around as asked."""
    if looked_m >= radius_m:
        return []
    message = (
        f"the elevation is too narrow to look {radius_m:g} m around for cold air: places are"
        f" ranked within {looked_m:.0f} m; slopes above and the valley below are not seen"
    )
    mend = "hand over elevation of the ground around, or go there at dawn after a clear night"
    return [Problem(Severity.NOTICE, message, mend, "elevation")]


def cold_pools(
    dem: Elevation,
    curvature: NDArray[np.float32],
    slope_pct: NDArray[np.float32],
    *,
    cell_m: float,
    radius_m: float = 300.0,
    lowest_share: float = 0.2,
    least_relief_m: float = 5.0,
) -> NDArray[np.uint8]:
    """Tell where cold air pools: low among its surroundings, gathering or level, not steep.

    It ranks places; it gives no degrees. A survey narrower than twice the radius is looked at in a
    smaller one, `looked_m`; where that rises and falls too little, nothing can be told.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    curvature : float32 (rows, cols) [1/m] of the smoothed surface along the contour, positive where
        ground gathers.
    lowest_share : rank up to which a place counts as low.
    least_relief_m : ground that rises and falls less does not part cold air from warm [m].

    Returns
    -------
    uint8 (rows, cols): 1 pools, 0 does not, 255 nodata, or nothing can be told.

    References
    ----------
    Lundquist, Pepin & Rochford (2008), J. Geophys. Res. 113, D22107, doi:10.1029/2008JD009879:
    slope below 30°, low percentile, not convex (limits from memory)
    """
    wide_m = looked_m(dem.shape, cell_m=cell_m, radius_m=radius_m)
    rank, relief_m = low_ground(dem, cell_m=cell_m, radius_m=wide_m)
    seen = np.isfinite(dem) & ((relief_m >= least_relief_m) | (wide_m >= radius_m))
    radius_m = wide_m
    calm = ndimage.uniform_filter(np.nan_to_num(curvature), max(1, int(radius_m / 15 / cell_m)))
    pools = (
        (rank <= lowest_share)
        & (relief_m >= least_relief_m)
        & (slope_pct / 100 < _STEEP)
        & (calm >= -1.0 / radius_m / 10)
    )
    return np.where(seen, pools, 255).astype(np.uint8)
