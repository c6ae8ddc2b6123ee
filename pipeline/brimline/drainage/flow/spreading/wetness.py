"""Where water gathers on gentle ground: the topographic wetness index."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.errors import GridError
from brimline.grid import checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray


def wetness_index(
    area_m2: NDArray[Any],
    slope_pct: NDArray[Any],
    *,
    cell_m: float,
    least_slope_pct: float = 0.1,
) -> NDArray[np.float32]:
    """Logarithm of the contributing area per metre of contour over the slope, ln(a / tan β).

    The width of contour that a cell's water crosses is taken as the side of the cell. Level
    ground would be infinitely wet, so slopes count as `least_slope_pct` at least (common
    practice, no source).

    Parameters
    ----------
    area_m2 : float (rows, cols)
        Contributing area with the cell's own; one that spreads on hillslopes suits best.
    slope_pct : float (rows, cols)
    cell_m : side of a cell [m].
    least_slope_pct : slope that gentler ground counts as [%], above 0.

    Returns
    -------
    float32 (rows, cols) [ln m]; NaN where area or slope is.

    Raises
    ------
    GridError
        If the shapes differ or a number is out of range.

    References
    ----------
    Beven & Kirkby (1979), A physically based, variable contributing area model of basin
    hydrology, doi:10.1080/02626667909491834
    """
    checked_same_shape(area_m2=area_m2, slope_pct=slope_pct)
    if not cell_m > 0 or not least_slope_pct > 0:
        raise GridError(
            f"cell_m and least_slope_pct must be above 0, got {cell_m} m and {least_slope_pct} %"
        )
    wet = np.log(np.asarray(area_m2, dtype=np.float64) / cell_m)
    wet -= np.log(np.maximum(slope_pct, least_slope_pct) / 100.0)
    return wet.astype(np.float32)
