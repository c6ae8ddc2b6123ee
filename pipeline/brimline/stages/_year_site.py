"""Where the planting lies: its ground, its position, and the evapotranspiration there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from brimline.balance.evapotranspiration import reference_et
from brimline.config import Site, Works
from brimline.design import covered_ground
from brimline.errors import InputError
from brimline.grid.shapes import cells_inside
from brimline.inputs.rules import usual_water
from brimline.inputs.year import stated_latitude
from brimline.io.geographic import lon_lat, on_earth
from brimline.stages._plan import covers_of, soils_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.balance.evapotranspiration import ReferenceEt
    from brimline.balance.planted import PlantedZone
    from brimline.config import Year
    from brimline.engine.stage import Given
    from brimline.rainfall import MixedGround
    from brimline.rainfall.daily import DailyWeather


def ground_of_zones(
    zones: Sequence[PlantedZone], given: Given
) -> tuple[NDArray[np.int32], dict[str, MixedGround]]:
    """Return the zone of each cell, and what of each zone sheds water."""
    grid = given.grid
    usual = usual_water(given.params("works", Works)).ground
    covered = covered_ground(covers_of(given), soils_of(given), grid, usual)
    labels = np.zeros(grid.shape, dtype=np.int32)
    for number, zone in enumerate(zones, start=1):
        labels[cells_inside([zone.shape], grid)] = number
    found = covered.by_label(labels)
    grounds = {}
    for number, zone in enumerate(zones, start=1):
        if number not in found:  # smaller than a cell, or beneath another zone
            alone = cells_inside([zone.shape], grid, all_touched=True).astype(np.int32)
            found[number] = covered.by_label(alone)[1]
        grounds[zone.zone_id] = found[number]
    return labels, grounds


def position_of(given: Given, labels: NDArray[np.int32], params: Year) -> tuple[float, float]:
    """Latitude [°] and height above sea level [m] of the planting."""
    stated = stated_latitude(params, given.params("site", Site), given.grid)
    found, elevation = latitude_and_height(given, labels > 0)
    if stated is not None:
        return stated, elevation
    if found is None:
        raise ValueError("a grid on the Earth has a latitude")
    return found, elevation


def latitude_and_height(
    given: Given, where: NDArray[np.bool_] | None = None
) -> tuple[float | None, float]:
    """Latitude [°] and mean height [m] of ground; no latitude where nothing says it.

    Parameters
    ----------
    where : bool (rows, cols) of the ground that is meant; all of it where that is none.
    """
    grid, levels = given.grid, given.raster("elevation")
    known = np.isfinite(levels)
    under = known & where if where is not None and (known & where).any() else known
    elevation = float(levels[under].mean(dtype=np.float64))
    stated = given.params("site", Site).latitude_deg
    if stated is not None or not on_earth(grid.crs):
        return stated, elevation
    row, col = (float(part.mean()) for part in np.nonzero(under))
    x, y = grid.xy(row, col)
    _, latitude = lon_lat(gpd.GeoSeries([shapely.Point(x, y)], crs=grid.crs))
    return float(latitude[0]), elevation


def reference_of(
    weather: DailyWeather, latitude: float, elevation: float, params: Year
) -> ReferenceEt:
    """Find reference evapotranspiration, or say why it cannot be found there."""
    try:
        return reference_et(
            weather,
            latitude_deg=latitude,
            elevation_m=elevation,
            method=params.method,
            near_coast=params.near_coast,
        )
    except ValueError as error:
        raise InputError.of(
            str(error),
            mend="reference evapotranspiration is not worked out there; set site.latitude_deg if"
            " the site's position is wrong",
            source="configuration",
            place="year",
        ) from error
