"""A survey of what was built, held against the design where it was surveyed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import pandas as pd

from brimline import as_built
from brimline.inputs.rows import text_of
from brimline.io.built import is_surface, read_built_points, read_built_surface

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.as_built import Asked, DesignedWorks, FromPoints, FromSurface, SurveyShift
    from brimline.config import AsBuilt
    from brimline.errors import Problem
    from brimline.grid import Elevation, Grid
    from brimline.io.surveyed_place import Box
    from brimline.io.vectors import VectorSource

_AROUND_M: Final = 100.0  # of the works, that a survey may lie in
_BURIED: Final = ("trench", "pit", "base")


def built_error_m(source: VectorSource, params: AsBuilt) -> float:
    """Return the standard error of a survey of what was built, stated or as is usual [m]."""
    usual = "air" if is_surface(source.path) else "points"
    stated = as_built.SURVEY_ERROR_M[params.surveyed_by or usual]
    return stated if params.rmse_m is None else params.rmse_m


def built_differences(
    source: VectorSource,
    works: DesignedWorks,
    elements: GeoDataFrame,
    dem: Elevation,
    grid: Grid,
    params: AsBuilt,
    *,
    older_error_m: float,
    correlation_m: float,
    benchmark: tuple[str, float] | None,
) -> tuple[FromSurface | FromPoints, SurveyShift, list[Problem]]:
    """Read a survey as differences from the design, and look for a shift of all of it.

    Parameters
    ----------
    elements : the layer of that name.
    older_error_m, correlation_m : standard error of the survey that was designed on [m], and over
        which distance its errors are alike [m].
    benchmark : its name and level [m]; None where there is none.
    """
    where = (source, dem, grid, _around(elements))
    rmse_m = built_error_m(source, params)
    sigma_m = math.hypot(older_error_m, rmse_m)
    crs, unit = params.crs, params.vertical_unit
    if is_surface(source.path):
        read = read_built_surface(*where, crs=crs, vertical_unit=unit)
        surface, untouched = as_built.surface_change(
            works.ready, read.dem, read.grid, refine=works.refine, settled=params.settled
        )
        shift = as_built.shift_of_surface(
            surface, untouched, sigma_m=sigma_m, correlation_m=correlation_m
        )
        return surface, shift, list(read.notices)
    points = read_built_points(*where, crs=crs, vertical_unit=unit)
    floors = dict(zip(elements["element_id"], elements["floor_level_m"].astype(float), strict=True))
    found, free = as_built.points_change(
        works.ready, works.ground, points,
        floors_m=floors, reach_m=params.reach_m, settled=params.settled,
    )  # fmt: skip
    shift = as_built.shift_of_points(
        found, free, points, benchmark,
        sigma_m=sigma_m, rmse_m=rmse_m, correlation_m=correlation_m,
    )  # fmt: skip
    return found, shift, list(points.problems)


def _around(elements: GeoDataFrame) -> Box:
    west, south, east, north = (float(part) for part in elements.total_bounds)
    return west - _AROUND_M, south - _AROUND_M, east + _AROUND_M, north + _AROUND_M


def asked_levels(stakes: GeoDataFrame, *, settled: bool) -> list[Asked]:
    """Return the levels that stakes ask for; offset stakes stand on ground that nobody touches.

    Bottoms of trenches, pits and beds are covered before anyone can survey them.
    """
    level = "design_m" if settled else "build_m"
    buried = stakes["role"].str.startswith(_BURIED).fillna(value=False).astype(bool)
    return [
        as_built.Asked(
            row.element_id, row.stake_id, row.role, float(row.chainage_m), float(row.geometry.x),
            float(row.geometry.y), float(getattr(row, level)),
            math.inf if pd.isna(row.bears_m) else float(row.bears_m), text_of(row, "because"),
        )
        for row in stakes[(stakes["offset_m"] == 0) & ~buried].itertuples(index=False)
    ]  # fmt: skip
