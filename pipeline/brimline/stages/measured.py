"""Where a point cloud has points, how wide its voids are, and how far its levels may be off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.terrain.points import error_of_levels_m, void_distance_m, void_errors

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    dem, points, cell_m = (
        given.raster("elevation"), given.raster("ground_points"), given.grid.cell_m,
    )  # fmt: skip
    void_m = void_distance_m(points, np.isfinite(dem), cell_m=cell_m)
    half_m, error_m = void_errors(dem, points, cell_m=cell_m)
    levels_m = error_of_levels_m(void_m, half_m, error_m, point_error_m=survey_error_m(given))
    known = np.isfinite(levels_m)
    widest_m, worst_m = float(void_m[known].max()), float(levels_m[known].max())
    report.problem(
        Problem(
            Severity.NOTICE,
            f"no level is farther than {widest_m:.1f} m from a ground point; there it may be off by"
            f" {worst_m:.2f} m (standard error)",
            "see rasters ground_points, void_m and level_error_m.",
            "elevation",
        )
    )
    return {
        "void_m": void_m,
        "level_error_m": levels_m,
        "measured": {
            "widest_void_m": widest_m,
            "worst_error_m": worst_m,
            "mean_points": float(points[known].mean()),
            "without_points_share": float((points[known] == 0).mean()),
        },
    }


STAGE = Stage(
    name="measured",
    version=1,
    title="where points are, and the error of levels between them",
    needs=("grid", "elevation", "ground_points", SUPPORT),
    makes=("void_m", "level_error_m", "measured"),
    run=_run,
)
