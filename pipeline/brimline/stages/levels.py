"""Single levels as read, how far the surface may be off, and where to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.config import Survey
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.stages._frames import frame_of
from brimline.terrain.levels import SpotLevels, error_told

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    grid, read = given.grid, given.value("spot_levels", SpotLevels)
    ground = np.isfinite(given.raster("elevation"))
    places = list(shapely.points(read.x, read.y, read.level_m))
    levels = frame_of(read.rows(), places, "levels", grid)
    if read.error is None:
        return {
            "levels": levels,
            "measure_next": frame_of([], [], "measure_next", grid),
            "level_error_m": np.full(grid.shape, np.nan, dtype=np.float32),
            "level_survey": {"rmse_m": None, "left_out_rmse_m": None, "levels": read.x.size},
        }
    report.advanced(0.6, "where to measure next")
    inside = cells_inside(given.frame("boundary").geometry, grid) & ground
    surfaces = given.frame("surfaces")  # on a roof nobody can stand to take a level
    roofs = cells_inside(surfaces[surfaces["cover"] == "roof"].geometry, grid)
    count = given.params("survey", Survey).measure_next
    sd_m = np.where(ground, read.error.sd_m, np.float32(np.nan))
    next_ones = read.next_measured(grid, inside & ~roofs, count)
    rmse_m = float(np.sqrt(np.mean(np.square(sd_m[inside], dtype=np.float64))))
    report.problem(error_told(sd_m[inside], rmse_m))
    row = ((grid.north_m - next_ones[:, 1]) / grid.cell_m).astype(int).clip(0, grid.rows - 1)
    col = ((next_ones[:, 0] - grid.west_m) / grid.cell_m).astype(int).clip(0, grid.cols - 1)
    ranked = [
        {"rank": rank, "level_error_m": float(sd)}
        for rank, sd in enumerate(sd_m[row, col], start=1)
    ]
    left_out_m = read.error.rmse_m
    return {
        "levels": levels,
        "measure_next": frame_of(ranked, list(shapely.points(next_ones)), "measure_next", grid),
        "level_error_m": sd_m,
        "level_survey": {"rmse_m": rmse_m, "left_out_rmse_m": left_out_m, "levels": read.x.size},
    }


STAGE = Stage(
    name="levels",
    version=2,
    title="the error of single levels, and where to measure next",
    needs=("grid", "elevation", "boundary", "surfaces", "spot_levels"),
    makes=("levels", "measure_next", "level_error_m", "level_survey"),
    run=_run,
    tables=("survey",),
)
