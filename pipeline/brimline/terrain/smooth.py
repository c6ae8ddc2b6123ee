"""Taking survey noise off a surface, by a stated amount."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.errors import GridError
from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation

_REACH = 4.0  # standard deviations at which the bell is cut off


def smoothed(dem: Elevation, *, cell_m: float, sigma_m: float) -> Elevation:
    """Smooth by a Gaussian bell that neither spreads nor takes in nodata.

    Near nodata and the edge the mean is taken of what is there, after the best local plane is
    allowed for: a plane stays a plane right up to the edge.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    sigma_m : standard deviation of the bell [m]; 0 returns a copy.

    Returns
    -------
    float32 (rows, cols) [m]; NaN where `dem` is.

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell, `cell_m` is not positive or
        `sigma_m` is negative.

    References
    ----------
    Knutsson & Westin (1993), Normalized and differential convolution,
    doi:10.1109/CVPR.1993.341081 (the plane is the first-order basis)
    """
    surface = checked_elevation(dem)
    if not cell_m > 0 or sigma_m < 0:
        raise GridError(f"cell_m must be above 0 m and sigma_m not negative: {cell_m}, {sigma_m}")
    if sigma_m == 0:
        return surface.copy()
    sigma = sigma_m / cell_m
    known = np.isfinite(surface)
    datum = float(np.mean(surface[known], dtype=np.float64))
    z = np.where(known, surface - datum, 0.0).astype(np.float32)
    if known.all():
        inner = _bell(z, sigma)
        edge = _edge_band(surface.shape, int(np.ceil(_REACH * sigma)))
    else:
        inner = z
        edge = known
    weights = known.astype(np.float32)
    result = inner.astype(np.float32)
    if edge.any():
        corrected = _plane_corrected(z, weights, sigma)
        result = np.where(edge, corrected, result)
    result += np.float32(datum)
    result[~known] = np.nan
    return result


def _bell(values: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    smooth: NDArray[np.float32] = ndimage.gaussian_filter(
        values, sigma, mode="constant", cval=0.0, truncate=_REACH
    )
    return smooth


def _edge_band(shape: tuple[int, ...], width: int) -> NDArray[np.bool_]:
    band = np.ones(shape, dtype=np.bool_)
    band[width : shape[0] - width, width : shape[1] - width] = False
    return band


def _plane_corrected(
    z: NDArray[np.float32], weights: NDArray[np.float32], sigma: float
) -> NDArray[np.float32]:
    """Value at each cell of the plane fitted to its surroundings, weighted by bell and validity."""

    def bell(values: NDArray[np.float32], order: tuple[int, int]) -> NDArray[np.float64]:
        # moments of the bell about each cell: convolution with x^i y^j g(x, y)
        down: NDArray[np.float64] = ndimage.correlate1d(
            values.astype(np.float64), _moment(sigma, order[0]), axis=0, mode="constant"
        )
        return np.asarray(
            ndimage.correlate1d(down, _moment(sigma, order[1]), axis=1, mode="constant")
        )

    one, r, c = bell(weights, (0, 0)), bell(weights, (1, 0)), bell(weights, (0, 1))
    rr, cc, rc = bell(weights, (2, 0)), bell(weights, (0, 2)), bell(weights, (1, 1))
    s, sr, sc = bell(z, (0, 0)), bell(z, (1, 0)), bell(z, (0, 1))
    # Cramer's rule on the 3 × 3 normal equations for the constant term
    m0, m1, m2 = rr * cc - rc * rc, r * cc - c * rc, r * rc - c * rr
    determinant = one * m0 - r * m1 + c * m2
    numerator = s * m0 - r * (sr * cc - sc * rc) + c * (sr * rc - sc * rr)
    with np.errstate(invalid="ignore", divide="ignore"):
        plane = numerator / determinant
        mean = s / one
    # where valid cells lie in one line no plane is defined
    usable = determinant > 1e-9 * one**3 * sigma**4
    return np.where(usable, plane, np.where(one > 0, mean, z)).astype(np.float32)


def _moment(sigma: float, order: int) -> NDArray[np.float64]:
    reach = int(np.ceil(_REACH * sigma))
    offset = np.arange(-reach, reach + 1, dtype=np.float64)
    bell = np.exp(-0.5 * (offset / sigma) ** 2)
    return np.asarray(bell / bell.sum() * offset**order)
