"""Taking survey noise off a surface, by a stated amount."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.errors import GridError
from brimline.grid import checked_elevation
from brimline.terrain.smooth import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation

_REACH = 4.0  # standard deviations at which the bell is cut off
_BLOCK_ROWS, _BLOCK_COLS = 128, 512  # cells; a block with its surroundings stays in the cache


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
    weight = _bell(sigma, max(surface.shape))
    result = np.empty_like(surface)
    rows = -(-surface.shape[0] // _BLOCK_ROWS)  # of blocks: the same for every number of threads
    side_by_side(
        [partial(_smooth, surface, result, weight, sigma, *band) for band in bands(rows, least=1)]
    )
    return result


def _smooth(
    surface: Elevation,
    result: Elevation,
    weight: NDArray[np.float64],
    sigma: float,
    first: int,
    last: int,
) -> None:
    """Smooth the rows of blocks from `first` to before `last`.

    A block and what lies within reach of it are copied as heights above one of their own cells:
    single precision then loses nothing that the result could hold.
    """
    reach = len(weight) - 1
    rows, cols = surface.shape
    around = min(_BLOCK_ROWS, rows) + 2 * reach, min(_BLOCK_COLS, cols) + 2 * reach
    z, known = np.empty(around, dtype=np.float32), np.empty(around, dtype=np.bool_)
    single = weight.astype(np.float32)
    for row in range(first * _BLOCK_ROWS, min(last * _BLOCK_ROWS, rows), _BLOCK_ROWS):
        for col in range(0, cols, _BLOCK_COLS):
            datum, missing = _kernels.take(surface, row - reach, col - reach, z, known)
            _kernels.mean(z, single, datum, result, row, col)
            if missing:  # else the plane's height in the middle is the mean itself
                _kernels.correct(z, known, weight, sigma, datum, result, row, col)


def _bell(sigma: float, most: int) -> NDArray[np.float64]:
    """Weights from the middle outwards, both sides adding up to 1; none beyond `most` cells."""
    offset = np.arange(int(np.ceil(_REACH * sigma)) + 1, dtype=np.float64)
    bell = np.exp(-0.5 * (offset / sigma) ** 2)
    return np.asarray(bell / (2.0 * bell.sum() - 1.0))[: most + 1]
