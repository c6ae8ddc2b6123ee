"""Proposed swale rows, fitted around those that a person has drawn."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from brimline.config import SwaleRows, Works
from brimline.elements import Soak
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.flags import joined, needs_look
from brimline.lines.rows import Duty, RowSpacing, swale_rows
from brimline.rainfall import runoff_depth_mm
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for, smooth_surface
from brimline.stages._plan import usual_water
from brimline.stages._survey_error import SUPPORT, survey_lacks

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.rows import SwaleRow
    from brimline.stages._filled import FilledGround


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("swales", SwaleRows)
    grid, drawn = given.grid, given.frame("drawn_swales")
    surface = smooth_surface(given)
    report.advanced(0.2, "placing rows")
    duty = duty_of(params, given.params("works", Works), given.facts("storms")["design"])
    levels = [None if math.isnan(level) else float(level) for level in drawn["level_m"]]
    try:
        rows = swale_rows(
            given.raster("elevation"),
            surface,
            grid,
            limits_for(given, surface),
            duty,
            None if survey_lacks(given) else _spacing(params),
            drawn=list(drawn.geometry),
            drawn_levels_m=levels,
            drawing=replace(drawing_of(given), min_length_m=params.min_length_m),
        )
    except ValueError as error:
        report.problem(
            Problem(Severity.ERROR, str(error), "draw the row on the data", "plan, drawn_swales")
        )
        raise
    filled = filled_ground(given)
    layer = frame_of(
        [_record(number, row, drawn, filled) for number, row in enumerate(rows, start=1)],
        [row.line for row in rows],
        "swale_lines",
        grid,
    )
    return {"swale_lines": layer, "swale_rows": {"headline": _headline(rows)}}


def duty_of(params: SwaleRows, works: Works, storm: dict[str, Any]) -> Duty:
    """Return what the design storm sends to a row, and what a metre of row takes of it.

    The section, the ground and the soakage are those that a drawn swale is designed with.
    """
    water = usual_water(works)
    number = _said(params.runoff_curve_number, water.ground.curve_number)
    runoff = runoff_depth_mm(storm["total_mm"], number)
    soak = Soak(water.soak_mm_per_h, water.soak_safety_factor).design_mm_per_h
    depth = _said(params.depth_m, works.swale_depth_m)
    bottom = _said(params.bottom_width_m, works.swale_bottom_m)
    side = _said(params.side_slope, works.swale_side)
    return Duty(
        runoff_mm=float(runoff),
        storage_m2=(bottom + side * depth) * depth,
        soak_mm=_said(params.soak_mm_per_h, soak) * storm["duration_h"],
        wetted_width_m=bottom + side * depth,
    )


def _said(older: float | None, now: float) -> float:
    """Return what a site file of an earlier release says of proposed rows alone, else the rule."""
    return now if older is None else older


def _spacing(params: SwaleRows) -> RowSpacing | None:
    if params.rule == "none":
        return None
    return RowSpacing(
        params.rule,
        params.min_spacing_m,
        params.max_spacing_m,
        params.interval_m,
        params.terrace_x,
        params.terrace_y,
    )


def _record(
    number: int, row: SwaleRow, drawn: GeoDataFrame, filled: FilledGround
) -> dict[str, Any]:
    return {
        "swale_id": number,
        "level_m": row.level_m,
        "length_m": row.length_m,
        "level_error_m": row.level_error_m,
        "level_rms_m": row.level_rms_m,
        "mean_slope_pct": row.mean_slope_pct,
        "spacing_m": row.spacing_m,
        "catchment_m2": row.catchment_m2,
        "must_hold_m3": row.must_hold_m3,
        "holds_m3": row.holds_m3,
        "drawn": row.drawn >= 0,
        "name": drawn["name"].iloc[row.drawn] if row.drawn >= 0 else None,
        "moved_m": row.moved_m,
        "moved_level_m": row.moved_level_m,
        "flag": joined([*row.flags, *filled.flags(row.line)]),
    }


def _headline(rows: list[SwaleRow]) -> dict[str, float | int]:
    return {
        "swale_lines": len(rows),
        "swale_lines_length_m": float(sum(row.length_m for row in rows)),
        "swale_lines_flagged": sum(needs_look(row.flags) for row in rows),
    }


STAGE = Stage(
    name="swales",
    version=3,
    title="swale rows",
    needs=(*NEEDS, "storms", "drawn_swales", SUPPORT),
    makes=("swale_lines", "swale_rows"),
    run=_run,
    tables=("swales", "lines", "works"),
)
