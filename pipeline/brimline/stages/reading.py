"""Reading the site: soil loss, cold air, and what the zones offer, in classes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.balance.soil import TEXTURES, texture
from brimline.config import ColdAir, Drainage, Growing, PlantingPlan, SoilLoss, Terrain, Year
from brimline.drainage.soil_loss import (
    COVER_FACTOR,
    ERODIBILITY,
    capacity,
    erosivity_of,
    ls_factor,
    settled,
)
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.layers.reading import PERIODS
from brimline.planting import WETNESS
from brimline.stages._frames import table_of
from brimline.stages._planting import wetness_classes, zone_shapes
from brimline.stages.weather import WeatherRecord
from brimline.sun.cold_air import cold_pools
from brimline.sun.path import season
from brimline.terrain.slope import gradient
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter

_POINTS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_SUN: Final = ("shade", "part", "full")
_SLOPES: Final = ("gentle", "moderate", "steep", "very steep")
_LEVEL_PCT: Final = 1.0  # ground gentler faces no way


def _run(given: Given, report: Reporter) -> Made:
    grid, dem = given.grid, given.raster("elevation")
    calm = smoothed(
        dem, cell_m=grid.cell_m, sigma_m=given.params("terrain", Terrain).curvature_smooth_m
    )
    rises = gradient(calm, cell_m=grid.cell_m)
    loss, deposit = _soil(given, rises, report)
    report.advanced(0.5, "cold air")
    cold = given.params("cold_air", ColdAir)
    pools = cold_pools(
        dem, given.raster("curvature"), given.raster("slope_pct"), cell_m=grid.cell_m,
        radius_m=cold.radius_m, lowest_share=cold.lowest_share, least_relief_m=cold.least_relief_m,
    )  # fmt: skip
    sun_h = given.raster("sun_h")
    in_season = sun_h[list(season(given.facts("sun").get("latitude_deg", 0.0)))].mean(axis=0)
    wet = wetness_classes(given, given.params("planting", PlantingPlan))
    limits = given.params("growing", Growing)
    sunny = np.searchsorted(limits.sun_h, np.nan_to_num(in_season), "right") + 1
    sunny = np.where(np.isfinite(in_season), sunny, 0)
    known = np.isfinite(dem) & (wet < len(WETNESS))
    growing = np.where(known, 100 * sunny + 10 * (wet.astype(np.int32) + 1) + pools + 1, 0)
    layers = {"loss": loss, "pools": pools, "season": in_season, "wet": wet,
              "winter": sun_h[PERIODS.index("shortest day")]}  # fmt: skip
    rows = [_zone(name, shape, layers, rises, given) for name, shape in zone_shapes(given).items()]
    return {
        "soil_loss_t_ha": loss,
        "deposit_t_ha": deposit,
        "cold_air": pools,
        "growing": growing.astype(np.int32),
        "zone_reading": table_of([row for row in rows if row], "zone_reading"),
    }


def _soil(
    given: Given, rises: tuple[NDArray[Any], NDArray[Any]], report: Reporter
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Soil lost and settled in a year [t/ha]."""
    params, grid = given.params("soil_loss", SoilLoss), given.grid
    area, nothing = given.raster("contributing_area_m2"), np.full(grid.shape, np.nan, np.float32)
    erosivity = params.erosivity
    weather = given.value("weather", WeatherRecord).days
    if erosivity is None and weather is not None:
        rain_mm = float(weather.precipitation_mm.sum() / weather.days * 365.25)
        erosivity = erosivity_of(rain_mm)
        message = f"erosivity taken as {erosivity:.0f} MJ mm/(ha h y) from {rain_mm:.0f} mm of rain"
        mend = "set soil_loss.erosivity from a map of the region: it may be half or double"
        report.problem(Problem(Severity.NOTICE, message, mend, "reading"))
    if erosivity is None:
        message = "nothing says how hard it rains, so no loss of soil is worked out"
        mend = "set soil_loss.erosivity, or give inputs.weather"
        report.problem(Problem(Severity.NOTICE, message, mend, "reading"))
        return nothing, nothing
    east, north = rises
    slope = np.hypot(east, north).astype(np.float64)
    ls = ls_factor(area, east, north, cell_m=grid.cell_m, most_length_m=params.most_length_m)
    cover, erodibility = _factors(given, params)
    loss = erosivity * erodibility * ls * cover * params.practice
    loss[area > given.params("drainage", Drainage).path_area_m2] = np.nan
    most = capacity(erosivity * erodibility, ls, slope, cover, carry_m=params.carry_m)
    most = np.where(np.isnan(loss), np.nan, most * grid.cell_m)
    per_cell = grid.cell_area_m2 / 10_000
    left = settled(
        given.raster("flow_direction"), area, (loss * per_cell).astype(np.float32),
        most.astype(np.float32),
    )  # fmt: skip
    left = np.where(np.isnan(loss), np.float32(np.nan), left / np.float32(per_cell))
    return loss.astype(np.float32), left.astype(np.float32)


def _factors(given: Given, params: SoilLoss) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """C and K of each cell; what lies first in its layer counts."""
    grid, year = given.grid, given.params("year", Year)
    factors = COVER_FACTOR | params.cover_factors
    cover = np.full(grid.shape, factors["pasture"])
    surfaces = given.frame("surfaces").iloc[::-1]
    for shape, word in zip(surfaces.geometry, surfaces["cover"], strict=True):
        cover[cells_inside([shape], grid)] = factors.get(word, factors["pasture"])
    usual = texture(year.usual_texture).name
    erodibility = np.full(grid.shape, params.erodibility or ERODIBILITY[usual])
    soils = given.frame("soils")
    known = soils[soils["texture"].isin(TEXTURES)].iloc[::-1]
    for shape, word in zip(known.geometry, known["texture"], strict=True):
        erodibility[cells_inside([shape], grid)] = params.erodibility or ERODIBILITY[word]
    return cover, erodibility


def _mean(values: NDArray[Any]) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else None


def _zone(
    name: str,
    shape: Any,  # noqa: ANN401 - a geometry
    layers: dict[str, NDArray[Any]],
    rises: tuple[NDArray[Any], NDArray[Any]],
    given: Given,
) -> dict[str, Any]:
    """Return what a zone offers; nothing where it lies off the data."""
    limits, slope_pct = given.params("growing", Growing), given.raster("slope_pct")
    inside = cells_inside([shape], given.grid) & np.isfinite(slope_pct)
    if not inside.any():  # smaller than a cell
        inside = cells_inside([shape], given.grid, all_touched=True) & np.isfinite(slope_pct)
    if not inside.any():
        return {}
    sun_h = _mean(layers["season"][inside])
    slope = float(slope_pct[inside].mean())
    cold = float((layers["pools"][inside] == 1).mean())
    free, hollow = limits.cold_share
    east, north = (_mean(each[inside]) or 0.0 for each in rises)
    turn = int(np.rint(np.degrees(np.arctan2(-east, -north)) / 45)) % 8
    return {
        "zone_id": name,
        "area_m2": float(inside.sum()) * given.grid.cell_area_m2,
        "sun_season_h": sun_h,
        "sun_winter_h": _mean(layers["winter"][inside]),
        "sun_class": None if sun_h is None else _SUN[_class(sun_h, limits.sun_h)],
        "cold_share": cold,
        "cold_class": "free" if cold <= free else "frost hollow" if cold >= hollow else "mixed",
        "wet_share": float((layers["wet"][inside] == WETNESS.index("wet")).mean()),
        "dry_share": float((layers["wet"][inside] == WETNESS.index("dry")).mean()),
        "slope_pct": slope,
        "slope_class": _SLOPES[_class(slope, limits.slope_pct)],
        "faces": "level" if 100 * np.hypot(east, north) < _LEVEL_PCT else _POINTS[turn],
        "machine_share": float((slope_pct[inside] <= limits.machine_pct).mean()),
        "soil_loss_t_ha": _mean(layers["loss"][inside]),
    }


def _class(value: float, limits: tuple[float, ...]) -> int:
    return int(np.searchsorted(limits, value, "right"))


STAGE = Stage(
    name="reading",
    version=1,
    title="soil loss, cold air, and what the zones offer",
    needs=(
        "grid", "elevation", "slope_pct", "curvature", "flow_direction", "contributing_area_m2",
        "wetness", "boundary", "surfaces", "soils", "weather", "sun_h", "sun", "planting_zones",
    ),
    makes=("soil_loss_t_ha", "deposit_t_ha", "cold_air", "growing", "zone_reading"),
    run=_run,
    tables=("soil_loss", "cold_air", "growing", "planting", "drainage", "terrain", "year"),
)  # fmt: skip
