"""Planting zones and soils as drawn, as what the year's balance takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from brimline.balance.planted import ZoneRow
from brimline.balance.planting import Planting
from brimline.errors import InputError
from brimline.inputs.rows import number_of, text_of
from brimline.io.geographic import on_earth

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.config import Site, Year
    from brimline.grid import Grid


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
