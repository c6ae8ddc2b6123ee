"""How deep the soil may be, by the slope of the ground, where nobody has dug."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_ENDS: Final = (0.02, 0.98)  # shares of the site that are taken as its gentlest and steepest


def soil_depth_m(
    slope: NDArray[np.floating],
    site: NDArray[np.bool_],
    *,
    least_m: float,
    most_m: float,
) -> NDArray[np.float32]:
    """Depth of soil that falls evenly with slope, from the gentlest ground to the steepest.

    A guess for comparing places: what lies below only a spade tells.

    Parameters
    ----------
    slope : float (rows, cols) rise over run, of the smoothed ground; NaN is nodata.
    site : bool (rows, cols) ground whose slopes bound the range (2nd and 98th percentile).
    least_m, most_m : depth on the steepest and on the gentlest of it [m].

    Returns
    -------
    float32 (rows, cols) [m]; NaN is nodata.

    Raises
    ------
    ValueError
        If the depths are not 0 or more and in order.

    References
    ----------
    Saulnier, Beven & Obled (1997), J. Hydrology 202, 158-172, doi:10.1016/S0022-1694(97)00059-0
    (formula from memory)
    """
    if not 0 <= least_m <= most_m:
        raise ValueError(f"depths must be 0 or more and in order, got {least_m} and {most_m} m")
    known = np.isfinite(slope)
    of_site = slope[site & known]
    if not of_site.size:
        of_site = slope[known]
    if not of_site.size:
        return np.full(slope.shape, np.nan, dtype=np.float32)
    gentle, steep = np.quantile(of_site, _ENDS)
    share = np.clip((slope - gentle) / max(float(steep - gentle), 1e-9), 0, 1)
    depth: NDArray[np.float32] = (most_m - share * (most_m - least_m)).astype(np.float32)
    return depth
