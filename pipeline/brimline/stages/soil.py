"""Soil: what rain may take of it, where that settles, and how deep it may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.balance.soil import TEXTURES, texture
from brimline.config import Drainage, Growing, SoilLoss, Terrain, Year
from brimline.drainage.soil_loss import COVER_FACTOR, ERODIBILITY, ErodingGround, told_erosivity
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside, painted
from brimline.stages.weather import WeatherRecord
from brimline.terrain.slope import gradient
from brimline.terrain.smooth import smoothed
from brimline.terrain.soil_depth import soil_depth_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    grid, smooth_m = given.grid, given.params("terrain", Terrain).curvature_smooth_m
    calm = smoothed(given.raster("elevation"), cell_m=grid.cell_m, sigma_m=smooth_m)
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
    given: Given, rises: tuple[NDArray[np.float32], NDArray[np.float32]], report: Reporter
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Soil lost and settled in a year [t/ha]."""
    params, weather = given.params("soil_loss", SoilLoss), given.value("weather", WeatherRecord)
    erosivity, problems = told_erosivity(params.erosivity, weather.rain_a_year_mm)
    report.tell(problems)
    if erosivity is None:
        nothing = np.full(given.grid.shape, np.nan, np.float32)
        return nothing, nothing
    ground = ErodingGround(
        given.raster("elevation"), given.raster("conditioned"), given.raster("near_direction"),
        given.raster("kept_sink") == 1, given.raster("contributing_area_m2"), rises,
        *_factors(given, params), given.grid.cell_m,
    )  # fmt: skip
    return ground.lost_and_left(
        erosivity,
        practice=params.practice,
        most_length_m=params.most_length_m,
        carry_m=params.carry_m,
        path_area_m2=given.params("drainage", Drainage).path_area_m2,
    )


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
