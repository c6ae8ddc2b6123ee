"""How sure the catchments are, given the survey's error."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.config import Survey
from brimline.drainage.catchments import subcatchments
from brimline.drainage.certainty import catchment_chance
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.io.frames import empty
from brimline.layers import table
from brimline.stages._frames import positions
from brimline.stages._survey_error import LEVEL_SURVEY, survey_error_m
from brimline.terrain.conditioning import condition

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from brimline.drainage.certainty import CatchmentChance
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid, Elevation, Grid

_ROOM_CELLS: Final = 30  # beyond the catchments as surveyed
_ROOM_SHARE: Final = 0.25  # of their height and width


def _run(given: Given, report: Reporter) -> Made:
    grid = given.grid
    snapped = given.frame("intakes_snapped")
    if snapped.empty:
        return _without_intakes(grid)
    places = snapped[["row", "col"]].to_numpy(dtype=np.int64)
    area_m2 = given.raster("contributing_area_m2")[tuple(places.T)]
    rmse_m = survey_error_m(given)
    window = _around(subcatchments(given.raster("flow_direction"), places).labels > 0)
    found = _within(window, given, report, places, area_m2, rmse_m)
    if _reaches_rim(found.chance, window, grid):
        # water from beyond the window may reach an intake: no window then
        window = (slice(0, grid.rows), slice(0, grid.cols))
        found = _within(window, given, report, places, area_m2, rmse_m)
    _tell_unsettled(found, snapped, report)
    elevation = given.raster("elevation")
    chance = np.where(np.isnan(elevation), np.float32(np.nan), np.float32(0.0))
    chance[window] = found.chance
    table = pd.DataFrame(
        {
            "intake_id": snapped["intake_id"],
            "area_low_m2": found.area_low_m2,
            "area_high_m2": found.area_high_m2,
        }
    )
    return {
        "catchment_chance": chance,
        "intake_certainty": table,
        "certainty": {"rmse_m": rmse_m, "realisations": len(found.areas_m2)},
    }


def _around(caught: BoolGrid) -> tuple[slice, slice]:
    """Rows and columns that hold all catchments, and room for them to grow."""
    window = []
    for axis, size in enumerate(caught.shape):
        held = np.flatnonzero(caught.any(axis=1 - axis))
        room = max(_ROOM_CELLS, round(_ROOM_SHARE * (held[-1] - held[0])))
        window.append(slice(max(0, int(held[0]) - room), min(size, int(held[-1]) + room + 1)))
    return window[0], window[1]


def _reaches_rim(chance: NDArray[np.float32], window: tuple[slice, slice], grid: Grid) -> bool:
    """Tell whether ground at a side of the window that is not the grid's ever drained in."""
    (top, bottom), (left, right) = ((side.start, side.stop) for side in window)
    sides = (
        (top > 0, chance[0]),
        (bottom < grid.rows, chance[-1]),
        (left > 0, chance[:, 0]),
        (right < grid.cols, chance[:, -1]),
    )
    return any(inner and bool((side > 0).any()) for inner, side in sides)


def _within(
    window: tuple[slice, slice],
    given: Given,
    report: Reporter,
    places: NDArray[np.int64],
    area_m2: NDArray[np.float64],
    rmse_m: float,
) -> CatchmentChance:
    params, grid = given.params("survey", Survey), given.grid
    corner = np.array([window[0].start, window[1].start])
    sinks = np.ascontiguousarray(given.raster("kept_sink")[window] == 1)
    rule = given.facts("conditioning")["rule"]
    burns = [positions(line, grid) - corner for line in given.frame("culverts").geometry]

    def told(done: int, most: int) -> None:
        report.advanced(done / most, f"{done} surfaces of at most {most}")

    return catchment_chance(
        given.raster("elevation")[window],
        places - corner,
        area_m2,
        cell_m=grid.cell_m,
        rmse_m=rmse_m,
        correlations_m=params.correlations_m,
        realisations=params.realisations,
        seed=params.seed,
        snap_radius_m=given.facts("snapping")["radius_m"],
        movable=given.frame("intakes_drawn")["snap"].to_numpy(dtype=np.bool_),
        condition=partial(_conditioned, cell_m=grid.cell_m, burns=burns, sinks=sinks, rule=rule),
        sinks=sinks,
        progress=told,
    )


def _tell_unsettled(found: CatchmentChance, snapped: pd.DataFrame, report: Reporter) -> None:
    moving = snapped.loc[~found.settled, "intake_id"].tolist()
    if moving:
        report.problem(
            Problem(
                Severity.WARNING,
                f"after {len(found.areas_m2)} surfaces the 5 to 95 % range still moves for intake"
                f" {', '.join(str(number) for number in moving)}",
                "raise survey.realisations, or take both ends as rough",
                "intakes",
            )
        )


def _without_intakes(grid: Grid) -> Mapping[str, Any]:
    return {
        "catchment_chance": np.full(grid.shape, np.nan, dtype=np.float32),
        "intake_certainty": pd.DataFrame(empty(table("intake_certainty"))),
        "certainty": {},
    }


def _conditioned(
    surface: Elevation,
    *,
    cell_m: float,
    burns: list[Any],
    sinks: BoolGrid,
    rule: dict[str, Any],
) -> Elevation:
    return condition(surface, cell_m=cell_m, burns=burns, sinks=sinks, **rule).surface


STAGE = Stage(
    name="certainty",
    version=2,
    title="catchments on ground that the survey leaves possible",
    needs=(
        "grid",
        "elevation",
        "contributing_area_m2",
        "flow_direction",
        "kept_sink",
        "culverts",
        "intakes_drawn",
        "intakes_snapped",
        "conditioning",
        "snapping",
    ),
    makes=("catchment_chance", "intake_certainty", "certainty"),
    run=_run,
    tables=("survey",),
    optional_needs=(LEVEL_SURVEY,),
)
