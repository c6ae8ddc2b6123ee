"""Shelter from winds: how high the ground and what stands on it rises towards them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.grid import checked_elevation, checked_same_shape, read_only
from brimline.sun import _kernels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation

_APART_DEG: Final = 5.0  # bearings that are looked along within the spread of a wind
_EVERY_WAY: Final = 16
LEAST_STEPS: Final = 5


def shelter_deg(
    ground: Elevation,
    surface: Elevation,
    winds: Sequence[tuple[float, float]] = (),
    *,
    cell_m: float,
    reach_m: float = 200.0,
    spread_deg: float = 15.0,
    height_m: float = 1.0,
) -> NDArray[np.float32]:
    """Mean angle to the highest that stands upwind within a reach; below 0 where all falls away.

    Parameters
    ----------
    ground : float32 (rows, cols) [m] that is to be sheltered; NaN is nodata.
    surface : float32 (rows, cols) [m]: the ground with all that stands on it, taken as solid.
    winds : bearings from the grid's north that winds come from [°], and the weight of each; empty
        counts sixteen bearings alike, without spread.
    cell_m : side of a cell [m].
    reach_m : how far upwind is looked, five cells at least [m].
    spread_deg : half the width of the sector that a wind comes from [°].
    height_m : above the ground, of what is to be sheltered [m].

    Returns
    -------
    float32 (rows, cols) [°]; NaN is nodata. Ground beyond the data counts as level with the place
    that is sheltered.

    Raises
    ------
    GridError
        If the arrays do not fit.
    ValueError
        If no weight is above 0, or one is below.

    References
    ----------
    Maximum upwind slope Sx, averaged over a sector: Winstral, Elder & Davis (2002), J.
    Hydrometeorology 3, 524-538, doi:10.1175/1525-7541(2002)003<0524:SSMOWR>2.0.CO;2. Of all
    bearings alike it is topographic exposure to a distance, over the number of bearings.
    """
    checked_same_shape(ground=ground, surface=surface)
    ground, surface = checked_elevation(ground, "ground"), checked_elevation(surface, "surface")
    at = ground + np.float32(height_m)
    steps = max(LEAST_STEPS, int(reach_m / cell_m))
    ways = [
        (weight, _steps(np.radians(bearing), steps, cell_m))
        for bearing, weight in _bearings(winds, spread_deg)
    ]
    jobs = [(low, high) for low, high in bands(ground.shape[0])]

    def of_rows(low: int, high: int) -> NDArray[np.float64]:
        total = np.zeros((high - low, ground.shape[1]))
        for weight, (shifts, shares, nearness) in ways:
            total += weight * _kernels.upwind(surface, at, low, high, shifts, shares, nearness)
        return total

    parts = side_by_side([lambda job=job: of_rows(*job) for job in jobs])  # type: ignore[misc]
    return np.degrees(np.concatenate(parts)).astype(np.float32)


def _bearings(winds: Sequence[tuple[float, float]], spread_deg: float) -> list[tuple[float, float]]:
    """Bearings to look along, and their weights, which sum to 1."""
    if not winds:
        return [(360.0 / _EVERY_WAY * way, 1 / _EVERY_WAY) for way in range(_EVERY_WAY)]
    weights = np.array([weight for _, weight in winds])
    if not (weights >= 0).all() or not weights.sum() > 0:
        raise ValueError(f"weights of winds must be 0 or more and one above 0, got {winds}")
    aside = np.linspace(-spread_deg, spread_deg, 2 * round(spread_deg / _APART_DEG) + 1)
    return [
        (float(bearing + turn), float(weight / weights.sum() / len(aside)))
        for bearing, weight in winds
        if weight > 0
        for turn in aside
    ]


def _steps(
    bearing_rad: float, steps: int, cell_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.float32]]:
    """Both cells that a line passes between at each row or column, and the share of the other."""
    down, right = -np.cos(bearing_rad), np.sin(bearing_rad)
    by_row = abs(down) >= abs(right)
    along = np.arange(1, steps + 1)
    lean = round(right / abs(down) if by_row else down / abs(right), 9)
    aside = along * lean
    one = np.floor(aside).astype(np.int64)
    share = (aside - one).astype(np.float32)
    other = one + (share > 0)
    ahead = along * int(np.sign(down if by_row else right))
    order = (ahead, one, ahead, other) if by_row else (one, ahead, other, ahead)
    nearness = (1 / (cell_m * along * np.hypot(1, lean))).astype(np.float32)
    return read_only(np.column_stack(order)), read_only(share), read_only(nearness)
