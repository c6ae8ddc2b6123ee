"""How steep the ground is, which way it faces, and how it bends."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline._jit import side_by_side
from brimline.errors import GridError
from brimline.grid import checked_elevation
from brimline.terrain import _kernels

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from brimline.grid import Elevation

_BLOCK_ROWS: Final = 256  # worked on at a time: what is made on the way stays small


def _checked_cell(cell_m: float) -> float:
    if not cell_m > 0:
        raise GridError(f"cell_m must be above 0 m, got {cell_m}")
    return float(cell_m)


def gradient(dem: Elevation, *, cell_m: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """Rise of the ground eastwards and northwards.

    A missing neighbour is mirrored through the centre cell, so that a plane keeps its slope up to
    the edge of the data.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    cell_m : side of a cell [m].

    Returns
    -------
    east, north : float32 (rows, cols) [m/m]; NaN at nodata.

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell, or `cell_m` is not positive.

    References
    ----------
    Horn (1981), Hill shading and the reflectance map, doi:10.1109/PROC.1981.11918
    """
    east, north = _kernels.gradient(checked_elevation(dem), _checked_cell(cell_m))
    return east, north


def slope_pct(dem: Elevation, *, cell_m: float) -> NDArray[np.float32]:
    """Steepness by Horn's third-order finite difference.

    Parameters, errors and source are those of `gradient`.

    Returns
    -------
    float32 (rows, cols) [%]; NaN at nodata.
    """
    return _by_rows(_kernels.steepness, dem, cell_m, np.float32)


def contour_curvature(dem: Elevation, *, cell_m: float) -> NDArray[np.float32]:
    """Bend of the surface along the contour (tangential curvature).

    Positive where ground gathers water (valleys), negative where it sheds (ridges), 0 on level
    ground, where the contour has no direction. Smooth a noisy survey first.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    cell_m : side of a cell [m].

    Returns
    -------
    float32 (rows, cols) [1/m]; NaN at nodata.

    Raises
    ------
    GridError
        As `gradient`.

    References
    ----------
    Zevenbergen & Thorne (1987), Quantitative analysis of land surface topography,
    doi:10.1002/esp.3290120107
    """
    return _by_rows(_kernels.bend_along_contour, dem, cell_m, np.float32)


def hillshade(
    dem: Elevation,
    *,
    cell_m: float,
    azimuth_deg: float = 315.0,
    altitude_deg: float = 45.0,
    exaggeration: float = 1.0,
) -> NDArray[np.uint8]:
    """Shade the surface for a light at a compass azimuth and an altitude above the horizon.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    cell_m : side of a cell [m].
    azimuth_deg : direction the light comes from, clockwise from north [°].
    altitude_deg : height of the light above the horizon [°].
    exaggeration : factor on heights.

    Returns
    -------
    uint8 (rows, cols); 1 is full shade, 255 full light, 0 nodata.

    Raises
    ------
    GridError
        As `gradient`.

    References
    ----------
    Horn (1981), doi:10.1109/PROC.1981.11918 (Lambertian reflectance)
    """
    azimuth, altitude = np.radians(azimuth_deg), np.radians(altitude_deg)
    toward_east, toward_north = np.sin(azimuth), np.cos(azimuth)

    def shaded(ground: Elevation, cell_m: float) -> NDArray[np.float64]:
        east, north = _kernels.gradient(ground, cell_m)
        facing = -(east * toward_east + north * toward_north) * exaggeration * np.cos(altitude)
        length = np.sqrt(1.0 + (east * east + north * north) * exaggeration**2)
        light = np.clip((facing + np.sin(altitude)) / length, 0.0, 1.0)
        return np.where(np.isnan(light), 0.0, 1.0 + np.round(light * 254.0))

    return _by_rows(shaded, dem, cell_m, np.uint8)


def _by_rows(
    work: Callable[[Elevation, float], NDArray[Any]],
    dem: Elevation,
    cell_m: float,
    dtype: type[np.generic],
) -> NDArray[Any]:
    """Work block by block of rows, each with a row more on both sides, side by side."""
    surface, cell_m = checked_elevation(dem), _checked_cell(cell_m)
    rows = surface.shape[0]
    result = np.empty(surface.shape, dtype=dtype)

    def block(first: int) -> None:
        last, top = min(first + _BLOCK_ROWS, rows), max(first - 1, 0)
        result[first:last] = work(surface[top : last + 1], cell_m)[first - top :][: last - first]

    side_by_side([partial(block, first) for first in range(0, rows, _BLOCK_ROWS)])
    return result
