"""Soil: what rain may take of it, where that settles, and how deep it may be."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.balance.soil import TEXTURES, texture
from brimline.config import Drainage, Growing, SoilLoss, Terrain, Year
from brimline.drainage.flow.spreading import mfd_accumulation
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
from brimline.grid.shapes import cells_inside, painted
from brimline.stages.weather import WeatherRecord
from brimline.terrain.slope import gradient
from brimline.terrain.smooth import smoothed
from brimline.terrain.soil_depth import soil_depth_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter

_STANDING_M: Final = 0.1  # deep water in a hollow that was filled, from which nothing goes on


def _run(given: Given, report: Reporter) -> Made:
    grid = given.grid
    calm = smoothed(
        given.raster("elevation"), cell_m=grid.cell_m,
        sigma_m=given.params("terrain", Terrain).curvature_smooth_m,
    )  # fmt: skip
    rises = gradient(calm, cell_m=grid.cell_m)
    loss, deposit = _soil(given, rises, report)
    depth_m, dug = _depth(given, np.hypot(*rises))
    return {
        "soil_loss_t_ha": loss,
        "deposit_t_ha": deposit,
        "soil_depth_m": depth_m,
        "soil_dug": dug,
    }


def _depth(
    given: Given, slope: NDArray[np.floating]
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Depth of soil [m], and 1 where a person dug; what lies later in its layer counts."""
    grid, (least_m, most_m) = given.grid, given.params("growing", Growing).usual_depth_m
    site = cells_inside(given.frame("boundary").geometry, grid)
    depth_m = soil_depth_m(slope, site, least_m=least_m, most_m=most_m)
    soils = given.frame("soils")
    told = soils[soils["depth_m"].notna()]
    depth_m = painted(depth_m, zip(told.geometry, told["depth_m"], strict=True), grid)
    dug = cells_inside(told.geometry, grid).astype(np.uint8)
    depth_m[np.isnan(given.raster("elevation"))] = np.nan
    return depth_m, dug


def _soil(
    given: Given, rises: tuple[NDArray[Any], NDArray[Any]], report: Reporter
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Soil lost and settled in a year [t/ha]."""
    params, grid = given.params("soil_loss", SoilLoss), given.grid
    path_m2, nothing = given.raster("contributing_area_m2"), np.full(grid.shape, np.nan, np.float32)
    erosivity = params.erosivity
    weather = given.value("weather", WeatherRecord).days
    if erosivity is None and weather is not None:
        rain_mm = float(weather.precipitation_mm.sum() / weather.days * 365.25)
        erosivity = erosivity_of(rain_mm)
        message = f"erosivity taken as {erosivity:.0f} MJ mm/(ha h y) from {rain_mm:.0f} mm of rain"
        mend = (
            "set soil_loss.erosivity from a map of the region: it may be half or double, and a"
            " fifth where rain falls gently"
        )
        report.problem(Problem(Severity.NOTICE, message, mend, "soil"))
    if erosivity is None:
        message = "nothing says how hard it rains, so no loss of soil is worked out"
        mend = "set soil_loss.erosivity, or give inputs.weather"
        report.problem(Problem(Severity.NOTICE, message, mend, "soil"))
        return nothing, nothing
    east, north = rises
    slope = np.hypot(east, north).astype(np.float64)
    drained = given.raster("conditioned")
    area = mfd_accumulation(
        drained, np.full(grid.shape, grid.cell_area_m2), sinks=given.raster("kept_sink") == 1
    )
    ls = ls_factor(area, east, north, cell_m=grid.cell_m, most_length_m=params.most_length_m)
    cover, erodibility = _factors(given, params)
    loss = erosivity * erodibility * ls * cover * params.practice
    loss[path_m2 > given.params("drainage", Drainage).path_area_m2] = np.nan
    most = capacity(erosivity * erodibility, ls, slope, cover, carry_m=params.carry_m)
    # what reaches standing water settles there; elsewhere paths lead all of it on
    stands = drained - given.raster("elevation") > _STANDING_M
    most = np.where(stands, 0.0, np.where(np.isnan(loss), np.nan, most * grid.cell_m))
    per_cell = grid.cell_area_m2 / 10_000
    left = settled(
        drained, given.raster("near_direction"), path_m2,
        (np.where(stands, 0.0, loss) * per_cell).astype(np.float32),
        most.astype(np.float32),
    )  # fmt: skip
    left = np.where(np.isnan(loss) & ~stands, np.float32(np.nan), left / np.float32(per_cell))
    return loss.astype(np.float32), left.astype(np.float32)


def _factors(given: Given, params: SoilLoss) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """C and K of each cell; what lies later in its layer counts."""
    grid, year = given.grid, given.params("year", Year)
    factors = COVER_FACTOR | params.cover_factors
    surfaces, soils = given.frame("surfaces"), given.frame("soils")
    said = [factors.get(word, factors["pasture"]) for word in surfaces["cover"]]
    cover = np.full(grid.shape, factors["pasture"])
    cover = painted(cover, zip(surfaces.geometry, said, strict=True), grid)
    usual = texture(year.usual_texture).name
    erodibility = np.full(grid.shape, params.erodibility or ERODIBILITY[usual])
    known = soils[soils["texture"].isin(TEXTURES)]
    values = [params.erodibility or ERODIBILITY[word] for word in known["texture"]]
    return cover, painted(erodibility, zip(known.geometry, values, strict=True), grid)


STAGE = Stage(
    name="soil",
    version=2,
    title="loss and depth of soil",
    needs=(
        "grid", "near", "elevation", "conditioned", "kept_sink", "near_direction",
        "contributing_area_m2", "boundary", "surfaces", "soils", "weather",
    ),
    makes=("soil_loss_t_ha", "deposit_t_ha", "soil_depth_m", "soil_dug"),
    run=_run,
    tables=("soil_loss", "growing", "drainage", "terrain", "year"),
    near=True,
)  # fmt: skip
