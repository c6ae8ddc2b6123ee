"""Layers that a person draws, and tables of the configuration, as what the design room takes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from brimline.config import Earthworks, Works
from brimline.design import (
    CoverArea,
    Design,
    DrawnPad,
    KeptClear,
    SoilArea,
    StandingWalls,
    SurveyedGround,
    designed_ground,
    standing_ground,
)
from brimline.inputs.rows import rows_of, text_of
from brimline.inputs.rules import building_of
from brimline.io.inflows import read_inflows
from brimline.layers import layer
from brimline.layers.drawn import usual_of
from brimline.rainfall import RunStorms

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.design import DesignedGround, StandingGround
    from brimline.engine.stage import Given
    from brimline.rainfall import Hydrograph


# what a stage must need to call `ground_of_design`, next to the table earthworks
BUILT: Final = ("grid", "elevation", "walls", "design", "drawn_pads")
_ENDS: Final = ("low", "high")
SURVEYED: Final = (
    "grid", "elevation", "standing_level_m", "walls", "slope_pct", "flow_direction",
    "contributing_area_m2", "surfaces", "soils",
)  # fmt: skip


def covers_of(given: Given) -> tuple[CoverArea, ...]:
    """Return the layer surfaces."""
    return rows_of(given.frame("surfaces"), CoverArea, {})


def soils_of(given: Given) -> tuple[SoilArea, ...]:
    """Return the layer soils."""
    return rows_of(given.frame("soils"), SoilArea, {})


def survey_of(given: Given) -> SurveyedGround:
    """Return the ground that drains to elements; needs `SURVEYED`."""
    return SurveyedGround(
        given.grid,
        given.raster("elevation"),
        given.raster("flow_direction"),
        given.raster("contributing_area_m2"),
        covers_of(given),
        soils_of(given),
    )


def standing_of(given: Given) -> StandingGround:
    """Return the ground that elements stand on; needs `SURVEYED` and the table works."""
    return standing_ground(
        given.raster("elevation"), given.raster("slope_pct"), given.grid, soils_of(given),
        given.params("works", Works).smooth_m, given.raster("standing_level_m"),
    )  # fmt: skip


def kept_clear_of(given: Given) -> tuple[KeptClear, ...]:
    """Return what to keep clear of, from keep_out and keep_out_drawn."""
    drawn, areas = given.frame("keep_out_drawn"), given.frame("keep_out").geometry
    return tuple(
        KeptClear(row.geometry, area, row.kind, float(row.setback_m), text_of(row, "name"))
        for row, area in zip(drawn.itertuples(index=False), areas, strict=True)
    )


def storms_of(given: Given) -> RunStorms:
    """Return the storms of the run; needs storms."""
    return given.value("storms", RunStorms)


def range_factors(design: Design, intakes: GeoDataFrame) -> dict[str, tuple[float, float]]:
    """Low and high end over the estimate of the intake nearest to each element.

    Empty where no intake has a range.
    """
    ranged = intakes[intakes["area_high_m2"] > 0]
    if not len(ranged):
        return {}
    found = {}
    for one in design.placed:
        nearest = ranged.iloc[int(ranged.distance(one.shape).to_numpy().argmin())]
        low, high = (float(nearest[f"area_{end}_m2"] / nearest["area_m2"]) for end in _ENDS)
        found[one.name] = low, high
    return found


def hydrographs_of(given: Given) -> dict[str, Hydrograph]:
    """Return the hydrographs of the source inflows, by name."""
    path = given.source("inflows", Path)
    return {} if path is None else dict(read_inflows(path))


def ground_of_design(given: Given, design: Design | None = None) -> DesignedGround:
    """Build every element on the survey; needs `BUILT` and the table earthworks.

    Parameters
    ----------
    design : in place of the run's own.
    """
    params = given.params("earthworks", Earthworks)
    return designed_ground(
        design or given.value("design", Design),
        rows_of(given.frame("drawn_pads"), DrawnPad, usual_of(layer("drawn_pads"))),
        given.value("walls", StandingWalls).taken_off(given.raster("elevation")),
        given.grid,
        building_of(params),
        params.batter_limit_m,
    )
