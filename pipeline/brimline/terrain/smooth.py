"""Taking survey noise off a surface, by a stated amount."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.errors import GridError
from brimline.grid import checked_elevation

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from brimline.grid import Elevation

_REACH = 4.0  # standard deviations at which the bell is cut off
_BLOCK = 256  # cells
_PART = 32  # cells


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
    result = np.full(surface.shape, np.nan, dtype=np.float32)
    reach = int(np.ceil(_REACH * sigma))
    rows, cols = surface.shape
    # block by block: the moments at the rim take nine times the memory of the surface
    for row in range(0, rows, _BLOCK):
        for col in range(0, cols, _BLOCK):
            block = np.s_[row : row + _BLOCK, col : col + _BLOCK]
            if known[block].any():
                result[block] = _block(surface, known, datum, row, col, reach, sigma)
    return result


def _block(
    surface: Elevation,
    known: NDArray[np.bool_],
    datum: float,
    row: int,
    col: int,
    reach: int,
    sigma: float,
) -> NDArray[np.float32]:
    """Smooth one block, looking at what lies within reach around it."""
    top, left = max(row - reach, 0), max(col - reach, 0)
    window = np.s_[top : row + _BLOCK + reach, left : col + _BLOCK + reach]
    here = known[window]
    z = np.where(here, surface[window] - datum, 0.0).astype(np.float32)
    inner = np.s_[row - top : row - top + _BLOCK, col - left : col - left + _BLOCK]
    result = _bell(z, sigma)[inner]
    # where all within reach is known the plane's height in the middle is the mean itself
    rim = ~ndimage.minimum_filter(here, 2 * reach + 1, mode="constant", cval=False)[inner]
    parts = list(_parts_with(rim))
    if len(parts) * (_PART + 2 * reach) ** 2 > z.size:  # a wide bell: their surroundings overlap
        parts = [np.s_[0 : rim.shape[0], 0 : rim.shape[1]]] if parts else []
    for part in parts:
        # the correction costs some twenty times as much: only along the rim
        first, last = part[0].start + row - top, part[0].stop + row - top
        west, east = part[1].start + col - left, part[1].stop + col - left
        around = np.s_[max(first - reach, 0) : last + reach, max(west - reach, 0) : east + reach]
        corrected = _plane_corrected(z[around], here[around].astype(np.float32), sigma)
        corrected = corrected[
            min(first, reach) : min(first, reach) + last - first,
            min(west, reach) : min(west, reach) + east - west,
        ]
        result[part] = np.where(rim[part], corrected, result[part])
    result = result + np.float32(datum)
    result[~here[inner]] = np.nan
    smooth: NDArray[np.float32] = result
    return smooth


def _parts_with(rim: NDArray[np.bool_]) -> Iterator[tuple[slice, slice]]:
    """Parts of a block that hold cells of the rim."""
    rows, cols = rim.shape
    for row in range(0, rows, _PART):
        for col in range(0, cols, _PART):
            part = (slice(row, min(row + _PART, rows)), slice(col, min(col + _PART, cols)))
            if rim[part].any():
                yield part


def _bell(values: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    smooth: NDArray[np.float32] = ndimage.gaussian_filter(
        values, sigma, mode="constant", cval=0.0, truncate=_REACH
    )
    return smooth


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
