"""Longitude and latitude on WGS 84, for people's phones and for files that hold nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Geod, Transformer

from brimline.errors import InternalError
from brimline.io.crs import is_local

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Grid

WGS84: Final = "OGC:CRS84"  # longitude first


def on_earth(crs: CRS | str | None) -> bool:
    """Tell whether places in a CRS have a longitude and latitude; a local grid's have none."""
    return bool(crs) and not is_local(crs)  # type: ignore[arg-type]


def on_wgs84(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return rows on WGS 84, longitude first, without heights.

    Levels stay in their columns: they count from the survey's datum, not from the ellipsoid that
    WGS 84 heights count from.

    Raises
    ------
    InternalError
        If the rows have no CRS.
    """
    if frame.crs is None:
        raise InternalError("rows without a CRS have no longitude and latitude")
    target = CRS.from_user_input(WGS84)
    moved = Transformer.from_crs(frame.crs, target, always_xy=True)

    def there(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        # one point as lists: of arrays the library would make a single number, and warn
        x, y = (each.tolist() if len(xy) == 1 else each for each in xy.T)
        return np.column_stack(moved.transform(x, y))

    shapes = shapely.transform(shapely.force_2d(frame.geometry.to_numpy()), there)
    return frame.set_geometry(shapes, crs=target)


def lon_lat(points: gpd.GeoSeries) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude of points [degrees].

    Raises
    ------
    InternalError
        If the points have no CRS.
    """
    if points.crs is None:
        raise InternalError("points without a CRS have no longitude and latitude")
    moved = Transformer.from_crs(points.crs, CRS.from_user_input(WGS84), always_xy=True)
    # as lists: of arrays with one point the library would make a single number, and warn
    longitude, latitude = moved.transform(points.x.tolist(), points.y.tolist())
    return np.array(longitude, dtype=np.float64), np.array(latitude, dtype=np.float64)


def grid_north_deg(grid: Grid) -> float:
    """Return the true bearing of a grid's upward axis at its middle [°].

    Raises
    ------
    InternalError
        If the grid has no place on the Earth.
    """
    if not on_earth(grid.crs):
        raise InternalError("a grid without a place on the Earth has no true north")
    west, south, east, north = grid.bounds
    x, y = (west + east) / 2, (south + north) / 2
    moved = Transformer.from_crs(CRS.from_user_input(grid.crs), WGS84, always_xy=True)
    longitude, latitude = moved.transform([x, x], [y, y + grid.cell_m])
    bearing, _, _ = Geod(ellps="WGS84").inv(longitude[0], latitude[0], longitude[1], latitude[1])
    return float(bearing)


def places_of(
    points: Sequence[shapely.Point], crs: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude of points [degrees]; NaN in a local grid, which has none."""
    if points and on_earth(crs):
        return lon_lat(gpd.GeoSeries(points, crs=crs))
    nowhere = np.full(len(points), np.nan)
    return nowhere, nowhere
