"""Random surfaces of survey error: normal, and alike over a distance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import fft

if TYPE_CHECKING:
    from numpy.typing import NDArray

_MARGIN = 3.0  # correlation lengths beyond the grid, so that opposite edges have nothing in common


def error_field(
    shape: tuple[int, int],
    *,
    rmse_m: float,
    correlation_m: float,
    cell_m: float,
    random: np.random.Generator,
) -> NDArray[np.float32]:
    """Draw one surface of survey error.

    White noise is smoothed by a Gaussian kernel, which makes errors a distance h apart correlate
    by exp(-(h / correlation_m)²): 0.37 at the correlation length, 0.02 at twice that. The mean is
    0 and the variance rmse_m² at every cell, edges included. On grids smaller than three
    correlation lengths opposite edges are a little more alike than they should be.

    Parameters
    ----------
    shape : rows and columns.
    rmse_m : root mean square error [m].
    correlation_m : correlation length [m]; 0 makes each cell's error its own.
    cell_m : side of a cell [m].
    random : where the random numbers come from; the field depends on its state alone.

    Returns
    -------
    float32 (rows, cols) [m]

    Raises
    ------
    ValueError
        If a size is out of range.

    References
    ----------
    Oksanen & Sarjakoski (2005), Error propagation of DEM-based surface derivatives,
    doi:10.1016/j.cageo.2005.02.014 (Gaussian correlation of elevation error); Wechsler & Kroll
    (2006), Quantifying DEM uncertainty and its effect on topographic parameters,
    doi:10.14358/PERS.72.9.1081 (citations from memory)
    """
    if not (rmse_m >= 0 and correlation_m >= 0 and cell_m > 0):
        raise ValueError(
            f"an error field needs rmse_m >= 0 m, correlation_m >= 0 m and cell_m > 0 m, got "
            f"{rmse_m} m, {correlation_m} m and {cell_m} m"
        )
    if rmse_m == 0:
        return np.zeros(shape, dtype=np.float32)
    reach = correlation_m / cell_m
    margin = math.ceil(min(_MARGIN * reach, max(shape)))
    rows, cols = (fft.next_fast_len(side + margin, real=True) for side in shape)
    noise = random.standard_normal((rows, cols), dtype=np.float32)
    if reach == 0:
        return np.float32(rmse_m) * noise[: shape[0], : shape[1]]
    down, across = _response(rows, reach), _response(cols, reach)
    # by Parseval the smoothed noise has the mean square of the response as its variance
    down /= np.sqrt(np.mean(down**2))
    across *= rmse_m / np.sqrt(np.mean(across**2))
    spectrum = fft.rfft2(noise)
    spectrum *= down[:, np.newaxis].astype(np.float32)
    spectrum *= across[: spectrum.shape[1]].astype(np.float32)
    smooth: NDArray[np.float32] = fft.irfft2(spectrum, s=(rows, cols), overwrite_x=True)
    return np.ascontiguousarray(smooth[: shape[0], : shape[1]], dtype=np.float32)


def _response(size: int, reach: float) -> NDArray[np.float64]:
    """Frequency response of a Gaussian kernel whose standard deviation is half of `reach` cells."""
    waves = 2.0 * np.pi * np.fft.fftfreq(size)
    response: NDArray[np.float64] = np.exp(-0.5 * (0.5 * reach * waves) ** 2)
    return response
