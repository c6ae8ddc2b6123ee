"""The smoothed surface that lines are traced on, and where they may not run."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from brimline.config import LevelLines
from brimline.lines.level_lines import Drawing
from brimline.lines.limits import limits
from brimline.stages._filled import FILLED
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from brimline.engine.stage import Given
    from brimline.grid import Elevation
    from brimline.lines.limits import Limits

NEEDS = ("grid", "near", "elevation", "contributing_area_m2", "boundary", "keep_out", *FILLED[1:])
# and the table lines


def smooth_surface(given: Given) -> Elevation:
    """Return the survey smoothed as the rules of lines state."""
    rules = given.params("lines", LevelLines)
    return smoothed(given.raster("elevation"), cell_m=given.grid.cell_m, sigma_m=rules.smooth_m)


def limits_for(given: Given, surface: Elevation, *, cross_paths: bool = False) -> Limits:
    """Return the ground where no line may run, by the rules of lines.

    Parameters
    ----------
    cross_paths : let lines run through flow paths, which a drain takes up and a swale dams.
    """
    rules = given.params("lines", LevelLines)
    outlines = given.frame("boundary").geometry
    return limits(
        surface,
        given.grid,
        boundary=outlines.iloc[0] if len(outlines) else None,
        boundary_setback_m=rules.boundary_setback_m,
        keep_out=given.frame("keep_out").geometry,
        area_m2=given.raster("contributing_area_m2"),
        path_area_m2=math.inf if cross_paths else rules.path_area_m2,
        path_clearance_m=rules.path_clearance_m,
        max_slope_pct=rules.max_slope_pct,
    )


def drawing_of(given: Given, tolerance_m: float | None = None) -> Drawing:
    """Return how lines are drawn and when their error is flagged."""
    rules = given.params("lines", LevelLines)
    return Drawing(
        tolerance_m=rules.level_tolerance_m if tolerance_m is None else tolerance_m,
        min_length_m=rules.min_length_m,
    )
