"""Planting zones and soils as drawn, as what the year's balance takes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from brimline.balance.evapotranspiration import ReferenceEt, check_place, reference_et
from brimline.balance.planted import ZoneRow
from brimline.balance.planting import Planting
from brimline.errors import InputError
from brimline.inputs.rows import number_of, text_of
from brimline.io.geographic import on_earth, places_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.config import Site, Year
    from brimline.grid import BoolGrid, Elevation, Grid
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
    """Outlines and textures of the soils input, where it has one; what counts comes first."""
    known = rows[rows["texture"].notna()].iloc[::-1]
    return list(zip(known.geometry, known["texture"], strict=True))


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


def reference_of(
    weather: DailyWeather, latitude: float, elevation: float, params: Year
) -> ReferenceEt:
    """Find reference evapotranspiration, or say why it cannot be found there."""
    refuse_place(latitude, elevation)
    return reference_et(
        weather,
        latitude_deg=latitude,
        elevation_m=elevation,
        method=params.method,
        near_coast=params.near_coast,
    )


def refuse_place(latitude_deg: float, height_m: float) -> None:
    """Refuse a place where reference evapotranspiration is not worked out.

    Raises
    ------
    InputError
        If it lies too far north or south, too high or too low.
    """
    try:
        check_place(latitude_deg, height_m)
    except ValueError as error:
        raise InputError.of(
            str(error),
            mend="reference evapotranspiration is not worked out there: see whether the levels are"
            " in metres, and set site.latitude_deg if the site's position is wrong",
            source="configuration",
            place="year",
        ) from error


def place_of(
    levels: Elevation, grid: Grid, stated_deg: float | None, where: BoolGrid | None = None
) -> tuple[float | None, float]:
    """Latitude [°] and mean height [m] of ground; no latitude where nothing says it.

    Parameters
    ----------
    levels : float32 (rows, cols) [m]; NaN is nodata.
    where : bool (rows, cols) of the ground that is meant; all of it where that is none.
    """
    known = np.isfinite(levels)
    under = known & where if where is not None and (known & where).any() else known
    height_m = float(levels[under].mean(dtype=np.float64))
    if stated_deg is not None or not on_earth(grid.crs):
        return stated_deg, height_m
    row, col = (float(part.mean()) for part in np.nonzero(under))
    _, latitude = places_of([shapely.Point(*grid.xy(row, col))], grid.crs)
    return float(latitude[0]), height_m


def position_of(
    levels: Elevation, grid: Grid, where: BoolGrid, params: Year, site: Site
) -> tuple[float, float]:
    """Latitude [°] and height above sea level [m] of the planting.

    Raises
    ------
    InputError
        If nothing says the latitude.
    """
    stated = stated_latitude(params, site, grid)
    found, height_m = place_of(levels, grid, site.latitude_deg, where)
    if stated is not None:
        return stated, height_m
    if found is None:
        raise ValueError("a grid on the Earth has a latitude")
    return found, height_m


def rows_grown(rows: Sequence[ZoneRow], grown: Mapping[str, Planting]) -> list[ZoneRow]:
    """Return zones with the plants set out in them, where no planting is drawn."""
    return [
        replace(row, planting=grown[row.name].name, root_depth_m=grown[row.name].root_depth_m)
        if not row.planting and row.name in grown
        else row
        for row in rows
    ]
