"""How sure the catchments are, given the survey's error."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.config import Survey
from brimline.drainage.certainty import catchment_ranges
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.io.frames import empty
from brimline.layers import table
from brimline.stages._frames import positions
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.terrain.conditioning import condition

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from brimline.drainage.certainty import CatchmentRanges, Patch
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid, Elevation, Grid

_LEAST_LEVELS: Final = 50  # in a catchment that a range is told of (common practice, no source)


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("survey", Survey), given.grid
    snapped = given.frame("intakes_snapped")
    if snapped.empty:
        return _without_intakes(grid)
    rmse_m = survey_error_m(given)
    rule = given.facts("conditioning")["rule"]
    burns = [positions(line, grid) for line in given.frame("culverts").geometry]

    def conditioning(patch: Patch, sinks: BoolGrid | None) -> Callable[[Elevation], Elevation]:
        return partial(
            _conditioned,
            cell_m=patch.cell_m,
            burns=[patch.positions(line) for line in burns],
            sinks=sinks,
            rule=rule,
        )

    found = catchment_ranges(
        given.raster("elevation"),
        given.raster("flow_direction"),
        snapped[["row", "col"]].to_numpy(dtype=np.int64),
        cell_m=grid.cell_m,
        rmse_m=rmse_m,
        correlations_m=params.correlations_m,
        realisations=params.realisations,
        seed=params.seed,
        snap_radius_m=given.facts("snapping")["radius_m"],
        movable=given.frame("intakes_drawn")["snap"].to_numpy(dtype=np.bool_),
        conditioning=conditioning,
        sinks=given.raster("kept_sink") == 1,
        other_sinks=given.raster("other_sink") == 1,
        progress=lambda share: report.advanced(share, "surfaces that the survey leaves possible"),
    )
    told = _large_enough(given, snapped, report)
    _tell_unsettled(found, snapped[told], told, report)
    ranges = pd.DataFrame(
        {
            "intake_id": snapped["intake_id"],
            "area_low_m2": np.where(told, found.area_low_m2, np.nan),
            "area_high_m2": np.where(told, found.area_high_m2, np.nan),
        }
    )
    return {
        "catchment_chance": found.chance,
        "intake_certainty": ranges,
        "certainty": {"rmse_m": rmse_m, "realisations": int(found.realisations.max())},
    }


def _large_enough(given: Given, snapped: pd.DataFrame, report: Reporter) -> NDArray[np.bool_]:
    """Tell whose catchment spans enough levels for a range, and say so of the others."""
    gathered = given.raster("contributing_area_m2")[snapped["row"], snapped["col"]]
    spacing_m = given.facts(SUPPORT)["spacing_m"]
    enough: NDArray[np.bool_] = np.asarray(gathered >= _LEAST_LEVELS * spacing_m**2)
    if not enough.all():
        names = ", ".join(str(number) for number in snapped.loc[~enough, "intake_id"])
        finer_m = (float(gathered[~enough].min()) / _LEAST_LEVELS) ** 0.5
        report.problem(
            Problem(
                Severity.WARNING,
                f"no range is told for intake {names}: its catchment holds fewer than"
                f" {_LEAST_LEVELS} levels, which lie {spacing_m:.3g} m apart",
                f"get a survey with a level at least every {finer_m:.2g} m",
                "intakes",
            )
        )
    return enough


def _tell_unsettled(
    found: CatchmentRanges, snapped: pd.DataFrame, told: NDArray[np.bool_], report: Reporter
) -> None:
    moving = snapped.loc[~found.settled[told], "intake_id"].tolist()
    if moving:
        report.problem(
            Problem(
                Severity.WARNING,
                f"after {found.realisations[~found.settled].min()} surfaces the 5 to 95 % range"
                f" still moves for intake {', '.join(str(number) for number in moving)}",
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
    sinks: BoolGrid | None,
    rule: dict[str, Any],
) -> Elevation:
    return condition(surface, cell_m=cell_m, burns=burns, sinks=sinks, **rule).surface


STAGE = Stage(
    name="certainty",
    version=4,
    title="catchments on ground that the survey leaves possible",
    needs=(
        "grid",
        "elevation",
        "contributing_area_m2",
        "flow_direction",
        "kept_sink",
        "other_sink",
        "culverts",
        "intakes_drawn",
        "intakes_snapped",
        "conditioning",
        "snapping",
        SUPPORT,
    ),
    makes=("catchment_chance", "intake_certainty", "certainty"),
    run=_run,
    tables=("survey",),
)
