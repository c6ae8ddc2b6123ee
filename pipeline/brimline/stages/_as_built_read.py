"""The as-built survey read: refused where it lies elsewhere or in another unit, its shift found."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pyproj import CRS

from brimline.errors import InputError, InternalError
from brimline.io.crs import same
from brimline.io.elevation import read_elevation
from brimline.io.surveyed import read_surveyed
from brimline.io.surveyed_place import misplaced, unit_problem, wrong_unit
from brimline.io.vectors import Source
from brimline.stages import _as_built_shift as shifts
from brimline.stages._as_built_survey import points_change, surface_change, without

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.config import AsBuilt
    from brimline.engine.stage import Given, Reporter
    from brimline.stages._as_built_shift import SurveyShift
    from brimline.stages._as_built_survey import FromPoints, FromSurface
    from brimline.stages._earthworks import Designed

SURFACES: Final = frozenset({".tif", ".tiff", ".vrt", ".las", ".laz", ".img", ".asc"})
_POINTS_RMSE_M: Final = 0.01  # a level or total station; common practice, no source
_SURFACE_RMSE_M: Final = 0.05  # a good survey from the air of bare ground; common practice
_AROUND_M: Final = 100.0  # of the works, that surveyed points may lie in


@dataclass(frozen=True, slots=True)
class BuiltSurvey:
    """What was surveyed, as differences from the design.

    Parameters
    ----------
    shift : of the whole survey; taken off where the configuration says so.
    rmse_m : error of the survey [m].
    """

    differences: FromSurface | FromPoints
    shift: SurveyShift
    rmse_m: float


def is_surface(path: Path) -> bool:
    """Tell whether an as-built survey is a surface rather than points."""
    return path.suffix.casefold() in SURFACES


def read_survey(
    given: Given, site: Designed, params: AsBuilt, refine: int, report: Reporter
) -> BuiltSurvey:
    """Read the survey, refuse one that lies elsewhere or in another unit, take off its shift."""
    source = _survey_of(given)
    facts = given.facts("survey_error")
    usual = _SURFACE_RMSE_M if is_surface(source.path) else _POINTS_RMSE_M
    rmse_m = usual if params.rmse_m is None else params.rmse_m
    sigma_m = math.hypot(facts["rmse_m"], rmse_m)
    correlation_m = float(facts["correlation_m"])
    differences: FromSurface | FromPoints
    if is_surface(source.path):
        differences, untouched = _surface(given, site, params, refine, report)
        shift = shifts.of_surface(
            differences, untouched, sigma_m=sigma_m, correlation_m=correlation_m
        )
    else:
        points = read_surveyed(
            source, run_crs=given.grid.crs, crs=params.crs, vertical_unit=params.vertical_unit
        )
        if not points.errors and points.x.size:
            elsewhere = misplaced(points.x, points.y, _around(site), given.grid.crs, str(source))
            points.problems.extend([elsewhere] if elsewhere else [])
        if points.errors:
            raise InputError(points.errors)
        for problem in points.problems:
            report.problem(problem)
        floors = {
            name: float(site.elements.loc[name, "floor_level_m"]) for name in site.ready.elements
        }
        differences, free = points_change(
            site, points, floors_m=floors, reach_m=params.reach_m, settled=params.settled
        )
        _refuse_unit(points.level_m, differences.design_m, str(source))
        shift = shifts.of_points(
            differences, free, points, given.facts("setting_out")["instrument"],
            sigma_m=sigma_m, rmse_m=rmse_m, correlation_m=correlation_m,
        )  # fmt: skip
    if shift.told and params.take_off_shift:
        differences = without(differences, shift.shift_m)
    return BuiltSurvey(differences, shift, rmse_m)


def _surface(
    given: Given, site: Designed, params: AsBuilt, refine: int, report: Reporter
) -> tuple[FromSurface, NDArray[np.bool_]]:
    source, grid = _survey_of(given), given.grid
    read = read_elevation(source.path, vertical_unit=params.vertical_unit, crs=params.crs)
    for problem in read.notices:
        report.problem(problem)
    if not same(CRS.from_user_input(read.grid.crs), CRS.from_user_input(grid.crs)):
        raise InputError.of(
            f"lies in {read.grid.crs}, the run in {grid.crs}",
            mend=f"project it to {grid.crs}, or set crs under [as_built] where the file is wrong",
            source=str(source),
        )
    west, south, east, north = read.grid.bounds
    box = _around(site)
    if west > box[2] or east < box[0] or south > box[3] or north < box[1]:
        raise InputError.of(
            f"lies at {west:.0f} to {east:.0f} E, {south:.0f} to {north:.0f} N, off the works at"
            f" {box[0]:.0f} to {box[2]:.0f} E, {box[1]:.0f} to {box[3]:.0f} N",
            mend="name the survey of this site, or state its right crs under [as_built]",
            source=str(source),
        )
    differences, untouched = surface_change(
        site, read.dem, read.grid, refine=refine, settled=params.settled
    )
    designed_m = read.dem.astype(np.float64) - differences.change_m
    _refuse_unit(read.dem.ravel(), designed_m.ravel(), str(source))
    return differences, untouched


def _refuse_unit(level_m: NDArray[Any], expected_m: NDArray[Any], source: str) -> None:
    unit = wrong_unit(level_m.astype(np.float64), expected_m.astype(np.float64))
    if unit:
        middle, wanted = float(np.nanmedian(level_m)), float(np.nanmedian(expected_m))
        told = f": in the middle {middle:.2f} where {wanted:.2f} m is expected"
        raise InputError([unit_problem(unit, source, told)])


def _around(site: Designed) -> tuple[float, float, float, float]:
    west, south, east, north = (float(part) for part in site.elements.total_bounds)
    return west - _AROUND_M, south - _AROUND_M, east + _AROUND_M, north + _AROUND_M


def _survey_of(given: Given) -> Source:
    source = given.source("as_built", Source)
    if source is None:
        raise InternalError("the stage is in a run only where inputs.as_built names a survey")
    return source
