"""Where the planting lies: its ground, its position, and the evapotranspiration there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.balance.evapotranspiration import reference_et
from brimline.balance.planted import ZoneRow
from brimline.balance.planting import Planting
from brimline.config import Site, Works
from brimline.design import covered_ground
from brimline.errors import InputError, Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.io.geographic import lon_lat, on_earth
from brimline.stages._plan import covers_of, number_of, soils_of, text_of, usual_water

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.balance.evapotranspiration import ReferenceEt
    from brimline.balance.planted import PlantedZone
    from brimline.config import Year
    from brimline.engine.stage import Given
    from brimline.grid import Grid
    from brimline.rainfall import MixedGround
    from brimline.rainfall.daily import DailyWeather


def zone_rows(rows: GeoDataFrame) -> list[ZoneRow]:
    """Read planting_zones as drawn."""
    return [
        ZoneRow(
            text_of(row, "name") or f"zone {number}",
            f"row {number}",
            row.geometry,
            text_of(row, "planting"),
            text_of(row, "texture"),
            number_of(row, "root_depth_m"),
            number_of(row, "available_pct"),
            number_of(row, "mulch_share"),
            irrigated=pd.isna(row.irrigated) or bool(row.irrigated),
            draws_on=tuple(n.strip() for n in text_of(row, "draws_on").split(";") if n.strip()),
        )
        for number, row in enumerate(rows.itertuples(index=False), start=1)
    ]


def plantings_of(kc: pd.DataFrame, age_y: int) -> dict[str, Planting]:
    """Return plants as set out as the planting of their zone at an age, by zone."""
    found = {}
    for zone, rows in kc[kc["age_y"] == age_y].groupby("zone_id"):
        months = tuple(rows.sort_values("month")["kc"].astype(float).clip(upper=1.4))
        level, root_depth_m = max(months), float(rows["root_depth_m"].iloc[0])
        found[str(zone)] = Planting(
            f"plants of {zone}, {age_y} years old", (level,) * 3, (level,) * 3, (0, 0, 365, 0), 1,
            level, root_depth_m, 0.5, "plants as set out", kc_months=months,
        )  # fmt: skip
    return found


def textures_of(rows: GeoDataFrame) -> list[tuple[BaseGeometry, str]]:
    """Outlines and textures of the soils input, where it has one."""
    known = rows[rows["texture"].notna()]
    return list(zip(known.geometry, known["texture"], strict=True))


def zones_off(zones: Sequence[PlantedZone], grid: Grid) -> list[Problem]:
    """Say which zones lie off the grid."""
    return [
        Problem(
            Severity.ERROR,
            f"{zone.zone_id} lies outside the elevation",
            "move it, or get more elevation",
            "plan, planting_zones",
        )
        for zone in zones
        if not cells_inside([zone.shape], grid, all_touched=True).any()
    ]


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


def stated_latitude(params: Year, site: Site, grid: Grid) -> float | None:
    """Latitude as configured [°]; None where it follows from the grid.

    Raises
    ------
    InputError
        If it does not follow from the grid either.
    """
    stated = site.latitude_deg if params.latitude_deg is None else params.latitude_deg
    if stated is None and not on_earth(grid.crs):
        raise InputError.of(
            "nothing says how far north the site lies, which evaporation follows from: its local"
            " grid has no place on the Earth",
            mend="set latitude_deg under [site]; a degree is near enough.",
            source="configuration",
            place="site.latitude_deg",
        )
    return stated


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
