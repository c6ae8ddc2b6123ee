"""Layers that a person draws, and tables of the configuration, as what the design room takes."""

from __future__ import annotations

import math
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np
import pandas as pd

from brimline.cascade import CascadeLimits, Free, Goals, Pace
from brimline.config import USUAL_RAIN_2Y_24H_MM, Earthworks, Hazard, Works
from brimline.design import (
    KINDS,
    CoverArea,
    Design,
    DesignRules,
    DrawnPad,
    KeptClear,
    Plan,
    SizingRules,
    SoilArea,
    StandingWalls,
    SurveyedGround,
    UsualGround,
    UsualWater,
    designed_ground,
    standing_ground,
)
from brimline.elements.building import ITEMS, Building
from brimline.io.inflows import read_inflows
from brimline.layers import layer
from brimline.layers.drawn import usual_of
from brimline.rainfall import Storm
from brimline.terrain.earthwork import Soil

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame

    from brimline.config import Rates
    from brimline.design import DesignedGround, StandingGround
    from brimline.engine.stage import Given
    from brimline.rainfall import Hydrograph

Row = TypeVar("Row")

# what a stage must need to call `ground_of_design`, next to the table earthworks
BUILT: Final = ("grid", "elevation", "walls", "design", "drawn_pads")
_ENDS: Final = ("low", "high")
SURVEYED: Final = (
    "grid", "elevation", "standing_level_m", "walls", "slope_pct", "flow_direction",
    "contributing_area_m2", "surfaces", "soils",
)  # fmt: skip


def rows_of(frame: GeoDataFrame, kind: type[Row], usual: Mapping[str, Any]) -> tuple[Row, ...]:
    """Return the rows of a drawing layer as a class of `brimline.design.plan`.

    Parameters
    ----------
    usual : values of columns that are left empty, by name; the rest is left open.
    """
    word = str(getattr(kind, "WORD", ""))
    found = []
    for number, row in enumerate(frame.itertuples(index=False), start=1):
        empty = tuple(name for name in row._fields if pd.isna(getattr(row, name)))
        values: dict[str, Any] = {}
        for field in fields(kind):  # type: ignore[arg-type] # a dataclass
            name = field.name
            if name == "shape":
                values[name] = row.geometry
            elif name == "empty":
                values[name] = empty
            elif name == "name":
                values[name] = text_of(row, name) or (f"{word} {number}" if word else "")
            elif field.type == "float":
                values[name] = number_of(row, name, float(usual.get(name, math.nan)))
            else:
                values[name] = text_of(row, name) or str(usual.get(name, ""))
        found.append(kind(**values))
    return tuple(found)


def plan_of(frames: Mapping[str, GeoDataFrame], works: Works) -> Plan:
    """Return all that was drawn, usual values filled in where columns are empty.

    Parameters
    ----------
    frames : by the names of `brimline.design.LAYERS`.
    """
    parts: dict[str, Any] = {
        name: rows_of(frames[kind.LAYER], kind, usual_values(kind.LAYER, works))
        for name, kind in KINDS.items()
    }
    return Plan(**parts)


def usual_values(name: str, works: Works) -> dict[str, float | str]:
    """Return what is taken where columns of a drawing layer are left empty."""
    return usual_of(layer(name)) | works.usual_of(name)


def number_of(row: Any, name: str, usual: float = math.nan) -> float:  # noqa: ANN401
    """Value of a column, or what is usual where it is empty or not there."""
    value = getattr(row, name, None)
    return usual if value is None or pd.isna(value) else float(value)


def text_of(row: Any, name: str) -> str:  # noqa: ANN401
    """Text of a column; empty where there is none."""
    value = getattr(row, name, None)
    return value.strip() if isinstance(value, str) else ""


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


def storms_of(given: Given) -> list[Storm]:
    """Return the design storm, then the others, from the facts storms."""
    facts = given.facts("storms")
    return [_storm(plain) for plain in (facts["design"], *facts["checks"])]


def beyond_of(given: Given) -> list[Storm]:
    """Return the storms that only tell what fails first, from the facts storms."""
    return [_storm(plain) for plain in given.facts("storms")["beyond"]]


def _storm(plain: Mapping[str, Any]) -> Storm:
    depths = np.array(plain["depth_mm"])
    return Storm(plain["name"], plain["step_s"], depths, plain["return_period_y"])


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


def usual_water(works: Works, rain_2y_24h_mm: float | None = None) -> UsualWater:
    """Return what is taken for ground where the inputs say nothing.

    Parameters
    ----------
    rain_2y_24h_mm : of the rainfall table; None where it does not tell.
    """
    return UsualWater(
        UsualGround(works.usual_cover, works.condition, works.usual_soil_group),
        works.usual_soak_mm_per_h,
        works.soak_safety_factor,
        works.infiltration,
        works.soil_saturation,
        works.rain_2y_24h_mm or rain_2y_24h_mm or USUAL_RAIN_2Y_24H_MM,
        works.concentration,
        works.roof_coefficient,
    )


def design_rules(
    works: Works,
    level_tolerance_m: float,
    rain_2y_24h_mm: float | None = None,
    building: Building = Building(),  # noqa: B008 - frozen
    hazard: Hazard = Hazard(),  # noqa: B008 - frozen
) -> DesignRules:
    """Return what a design keeps to, as the configuration has it.

    Parameters
    ----------
    rain_2y_24h_mm : of the rainfall table; None where it does not tell.
    """
    share, hours = works.goal_capture_share, works.goal_drawdown_h
    asked = share > 0 or hours is not None
    sizing = SizingRules(
        Goals(share, hours or math.inf) if asked else None,
        works.goal_storm,
        works.goal_applied,
        tuple(Free(one.element, one.dimension, one.low, one.high, one.step) for one in works.free),
        works.pond_depth_range_m,
        works.swale_depth_range_m,
        works.basin_depth_range_m,
        works.tank_volume_range_m3,
    )
    limits = CascadeLimits(
        min_drop_m=works.min_drop_m,
        drawdown_h=works.drawdown_h,
        engineer_height_m=works.engineer_height_m,
        engineer_volume_m3=works.engineer_volume_m3,
        steep_slope_pct=works.max_slope_pct,
        fence_depth_m=hazard.fence_depth_m,
        embankment_water_m=hazard.embankment_water_m,
    )
    return DesignRules(
        usual_water(works, rain_2y_24h_mm),
        sizing,
        works.sill_head_m,
        works.near_building_m,
        level_tolerance_m,
        works.mended,
        limits,
        Pace(after_h=works.after_h),
        building,
    )


def building_of(params: Earthworks) -> Building:
    """Return how banks and sills are built."""
    return Building(
        params.bank_top_m, params.bank_outer, params.settlement, returns_m=params.wing_m
    )


def soil_as_dug(params: Earthworks) -> Soil:
    """Return how soil swells and settles, and how much of it is topsoil."""
    return Soil(
        params.loose_per_bank, params.compacted_per_bank, params.topsoil_m, params.respread_m
    )


def prices_of(rates: Rates) -> dict[str, float | None]:
    """Return the price of one unit of each item of the bill; None where it is not stated."""
    return {key: getattr(rates, item.rate_key(key)) for key, item in ITEMS.items()}


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
