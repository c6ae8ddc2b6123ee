"""What a person wants planted, as the planting room takes it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
import shapely

from brimline.design.places import BUILDING
from brimline.errors import InputError
from brimline.inputs.rows import number_of, text_of
from brimline.io.plants import read_guilds, read_plants
from brimline.layers import layer
from brimline.layers.drawn import usual_of
from brimline.planting.laying import Around, DrawnPlanting
from brimline.planting.water import Climate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.config import PlantingPlan
    from brimline.planting import Guild, Plant
    from brimline.rainfall.daily import DailyWeather


DRAWN: Final = ("planting_zones", "plant_rows", "drawn_plants")


def wanted_of(
    frame: Callable[[str], GeoDataFrame], plants: Path | None, guilds: Path | None
) -> tuple[list[DrawnPlanting], dict[str, Plant], dict[str, Guild]]:
    """Return what was drawn to be planted, and the plants and guilds that there are.

    Parameters
    ----------
    frame : hands out layers by name.
    plants, guilds : files of the person.

    Raises
    ------
    InputError
        If a file cannot be read, or plants are named and there is no file of plants.
    """
    known = {} if plants is None else read_plants(plants)
    grouped = {} if guilds is None else read_guilds(guilds, known)
    wanted = [one for name in DRAWN for one in _of_layer(name, frame)]
    if wanted and plants is None:
        raise InputError.of(
            f"{wanted[0].name} names plants, but there is no plants file",
            mend='name it under [inputs] as plants = "plants.csv"',
            source="plan",
            place=wanted[0].place,
        )
    return wanted, known, grouped


def _of_layer(name: str, frame: Callable[[str], GeoDataFrame]) -> Iterator[DrawnPlanting]:
    usual = usual_of(layer(name))
    for number, row in enumerate(frame(name).itertuples(index=False), start=1):
        plants = tuple(word.strip() for word in text_of(row, "plants").split(";") if word.strip())
        if not plants:
            continue
        called = text_of(row, "name") or {
            "planting_zones": f"zone {number}", "plant_rows": f"row {number}",
        }.get(name, "single plants")  # fmt: skip
        pattern = text_of(row, "fill") or usual.get("fill")
        yield DrawnPlanting(
            called,
            f"{name}, row {number}",
            row.geometry,
            plants,
            pattern="square" if pattern == "square" else "triangular",
            lines=_lines(frame(text_of(row, "along") or "swale_lines"))
            if pattern == "along"
            else None,
            spacing_m=_positive(row, "spacing_m"),
            row_spacing_m=_positive(row, "row_spacing_m"),
            bearing_deg=_known(row, "rows_deg"),
            offset_m=number_of(row, "offset_m", float(usual.get("offset_m", 0.0))),
            edge_m=number_of(row, "edge_m", float(usual.get("edge_m", 0.0))),
        )


def _lines(rows: GeoDataFrame) -> tuple[BaseGeometry, ...]:
    return tuple(shapely.get_parts(rows.geometry.to_numpy()).tolist())


def _known(row: object, name: str) -> float | None:
    value = number_of(row, name)
    return None if np.isnan(value) else value


def _positive(row: object, name: str) -> float | None:
    return _known(row, name) or None


ALONG: Final = ("swale_lines", "keylines", "cultivation_lines", "contours", "guide_lines")


AROUND: Final = ("boundary", "keep_out", "keep_out_drawn", "surfaces", "elements", "drawn_pipes",
                 "drawn_overflows")  # fmt: skip


_WATER_LINES: Final = frozenset({"swale", "drain"})


def around_of(frame: Callable[[str], GeoDataFrame], params: PlantingPlan) -> Around:
    """Return what plants keep clear of.

    Parameters
    ----------
    frame : hands out the layers `AROUND` by name.
    """
    elements, surfaces, drawn = frame("elements"), frame("surfaces"), frame("keep_out_drawn")
    kinds = elements["kind"]
    areas = elements.geometry.geom_type.isin(("Polygon", "MultiPolygon"))
    return Around(
        inside=shapely.union_all(frame("boundary").geometry.to_numpy()),
        kept_clear=tuple(frame("keep_out").geometry),
        buildings=(
            *drawn.loc[drawn["kind"] == BUILDING].geometry,
            *surfaces.loc[surfaces["cover"] == "roof"].geometry,
        ),
        pipes=tuple(frame("drawn_pipes").geometry),
        water_lines=(
            *elements.loc[kinds.isin(_WATER_LINES)].geometry,
            *frame("drawn_overflows").geometry,
        ),
        water_areas=tuple(elements.loc[areas].geometry),
        line_clear_m=params.line_clear_m,
        pipe_clear_m=params.pipe_clear_m,
    )


def zone_shapes(rows: GeoDataFrame) -> dict[str, BaseGeometry]:
    """Ground of each planting zone by name."""
    parts: dict[str, list[BaseGeometry]] = {}
    for number, row in enumerate(rows.itertuples(index=False), start=1):
        parts.setdefault(text_of(row, "name") or f"zone {number}", []).append(row.geometry)
    return {name: shapely.union_all(shapes) for name, shapes in parts.items()}


def climate_of(weather: DailyWeather, et0_mm: NDArray[np.float64]) -> Climate:
    """Return the average year by month.

    Parameters
    ----------
    et0_mm : (days,) reference evapotranspiration [mm/d].
    """
    daily = pd.DataFrame({"et0": et0_mm, "rain": weather.precipitation_mm})
    monthly = daily.groupby([weather.years, weather.months]).sum().groupby(level=1).mean()
    monthly = monthly.reindex(range(1, 13), fill_value=0.0)
    return Climate(monthly["et0"].to_numpy(), monthly["rain"].to_numpy())


def coldest_c(weather: DailyWeather | None) -> float:
    """Return the mean of each year's coldest night [°C]; NaN where no weather tells."""
    if weather is None:
        return math.nan
    return float(pd.Series(weather.temp_min_c).groupby(weather.years).min().mean())
