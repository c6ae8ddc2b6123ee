"""How sure the catchments are, given the survey's error."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from brimline.config import Survey
from brimline.drainage.certainty import catchment_chance, survey_rmse_m
from brimline.engine.stage import Stage
from brimline.io.frames import empty
from brimline.layers import table
from brimline.stages._frames import positions
from brimline.terrain.conditioning import condition

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid, Elevation, Grid


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("survey", Survey), given.grid
    snapped = given.frame("intakes_snapped")
    if snapped.empty:
        return _without_intakes(grid)
    places = snapped[["row", "col"]].to_numpy(dtype=np.int64)
    area_m2 = given.raster("contributing_area_m2")[tuple(places.T)]
    sinks = given.raster("kept_sink") == 1
    rule = given.facts("conditioning")["rule"]
    burns = [positions(line, grid) for line in given.frame("culverts").geometry]
    rmse_m = survey_rmse_m(params.accuracy_class, params.rmse_m)

    def told(done: int, total: int) -> None:
        report.advanced(done / total, f"{done} of {total} surfaces")

    found = catchment_chance(
        given.raster("elevation"),
        places,
        area_m2,
        cell_m=grid.cell_m,
        rmse_m=rmse_m,
        correlation_m=params.correlation_m,
        realisations=params.realisations,
        seed=params.seed,
        snap_radius_m=given.facts("snapping")["radius_m"],
        movable=given.frame("intakes_drawn")["snap"].to_numpy(dtype=np.bool_),
        condition=partial(_conditioned, cell_m=grid.cell_m, burns=burns, sinks=sinks, rule=rule),
        sinks=sinks,
        progress=told,
    )
    table = pd.DataFrame(
        {
            "intake_id": snapped["intake_id"],
            "area_low_m2": found.area_low_m2,
            "area_high_m2": found.area_high_m2,
        }
    )
    return {
        "catchment_chance": found.chance,
        "intake_certainty": table,
        "certainty": {"rmse_m": rmse_m, "realisations": params.realisations},
    }


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
    version=1,
    title="catchments on surfaces that the survey's error allows",
    needs=(
        "grid",
        "elevation",
        "contributing_area_m2",
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
)
