"""How cells stand to their neighbours: what filling and breaching both start from."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.terrain.conditioning import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation


def without_nan(surface: Elevation) -> Elevation:
    """Return the surface with nodata at minus infinity; the surface itself if it has none."""
    nodata = np.isnan(surface)
    return np.where(nodata, np.float32(-np.inf), surface) if nodata.any() else surface


def relations(level: Elevation) -> NDArray[np.uint8]:
    """Tell each cell's lowest neighbour, or that it is a pit or lies on the raster's edge.

    Parameters
    ----------
    level : float32 (rows, cols) [m] without NaN.

    Returns
    -------
    uint8 (rows, cols); codes of `_kernels`, saddles marked.
    """
    codes = np.empty(level.shape, dtype=np.uint8)
    side_by_side([partial(_kernels.relate, level, codes, *band) for band in bands(level.shape[0])])
    codes[[0, -1], :] = _kernels.OUT
    codes[:, [0, -1]] = _kernels.OUT
    return codes
