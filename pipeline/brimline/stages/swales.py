"""Proposed swale rows, fitted around those that a person has drawn."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.config import Rates, SwaleRows, Works
from brimline.elements import Soak
from brimline.engine.stage import Stage
from brimline.errors import InputError
from brimline.inputs.rules import usual_water
from brimline.layers.flags import joined, needs_look
from brimline.lines.rows import Duty, RowSection, RowSpacing, WantedRows, swale_rows
from brimline.rainfall import runoff_depth_mm
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for, smooth_surface
from brimline.stages._survey_error import SUPPORT, survey_lacks

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.rows import SwaleRow
    from brimline.stages._filled import FilledGround

_DEPTH_STEP_M: Final = 0.05


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
            wanted=wanted_of(
                params, given.params("works", Works), given.params("rates", Rates), duty
            ),
        )
    except ValueError as error:
        raise InputError.of(
            str(error), mend="draw the row on the data", source="plan, drawn_swales"
        ) from error
    filled = filled_ground(given)
    layer = frame_of(
        [
            _record(number, row, drawn, filled, rank, soil)
            for number, (row, rank, soil) in enumerate(
                zip(rows, _ranks(rows), _soils(rows, given), strict=True), start=1
            )
        ],
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
        runoff_mm=float(runoff) if params.hold_mm is None else params.hold_mm,
        storage_m2=(bottom + side * depth) * depth,
        soak_mm=_said(params.soak_mm_per_h, soak) * storm["duration_h"],
        wetted_width_m=bottom + side * depth,
    )


def wanted_of(params: SwaleRows, works: Works, rates: Rates, duty: Duty) -> WantedRows:
    """Return which proposals are taken, and how deep each may be dug.

    Raises
    ------
    InputError
        If a budget is given without the prices that it is reckoned by.
    """
    cut, form = rates.cut_per_m3 or 0.0, rates.form_per_m or 0.0
    if params.most_cost is not None and not cut + form > 0:
        raise InputError.of(
            "limits the cost of rows, but no prices are given",
            mend="set rates.cut_per_m3 or rates.form_per_m, or swales.most_length_m",
            source="configuration",
            place="swales.most_cost",
        )
    bottom = _said(params.bottom_width_m, works.swale_bottom_m)
    side = _said(params.side_slope, works.swale_side)
    usual = _said(params.depth_m, works.swale_depth_m)
    deepest = usual if params.proposals == "all" else max(works.swale_depth_range_m[1], usual)
    soak_m = duty.soak_mm / 1000.0
    sections = []
    for deep in np.arange(usual, deepest + 1e-9, _DEPTH_STEP_M).tolist():
        dug_m2 = (bottom + side * deep) * deep
        holds_m2 = dug_m2 + soak_m * (bottom + side * deep)
        depth_m = math.nan if params.proposals == "all" else deep
        sections.append(RowSection(depth_m, holds_m2, cut * dug_m2 + form))
    return WantedRows(
        most_length_m=math.inf if params.most_length_m is None else params.most_length_m,
        most_cost=math.inf if params.most_cost is None else params.most_cost,
        sections=tuple(sections),
        any_size=params.proposals == "all",
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
    number: int,
    row: SwaleRow,
    drawn: GeoDataFrame,
    filled: FilledGround,
    rank: int,
    soil: str | None,
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
        "depth_m": None if math.isnan(row.depth_m) else row.depth_m,
        "from_above_m3": row.from_above_m3,
        "passes_on_m3": row.passes_on_m3,
        "passes_to": row.passes_to + 1 if row.passes_on_m3 > 0 else 0,
        "stack_id": row.stack,
        "kept_m2": row.kept_m3 / row.length_m,
        "rank": rank,
        "soil": soil,
        "drawn": row.drawn >= 0,
        "name": drawn["name"].iloc[row.drawn] if row.drawn >= 0 else None,
        "moved_m": row.moved_m,
        "moved_level_m": row.moved_level_m,
        "flag": joined([*row.flags, *filled.flags(row.line)]),
    }


def _ranks(rows: list[SwaleRow]) -> list[int]:
    """Place of each proposed row by what a metre keeps of the storm; 1 is the best, 0 if drawn."""
    kept = {place: row.kept_m3 / row.length_m for place, row in enumerate(rows) if row.drawn < 0}
    order = sorted(kept, key=lambda place: (-kept[place], place))
    rank = {place: number for number, place in enumerate(order, start=1)}
    return [rank.get(place, 0) for place in range(len(rows))]


def _soils(rows: list[SwaleRow], given: Given) -> list[str | None]:
    """Texture of the drawn soil that most of each row lies in."""
    soils = given.frame("soils")
    found: list[str | None] = []
    for row in rows:
        inside = soils.geometry.intersection(row.line).length.to_numpy()
        place = int(inside.argmax()) if len(inside) else -1
        texture = soils["texture"].iloc[place] if place >= 0 and inside[place] > 0 else None
        found.append(texture if isinstance(texture, str) else None)
    return found


def _headline(rows: list[SwaleRow]) -> dict[str, float | int]:
    return {
        "proposed_swale_lines": sum(not row.drawn for row in rows),
        "proposed_swale_lines_m": float(sum(row.length_m for row in rows if not row.drawn)),
        "drawn_swale_lines": sum(row.drawn for row in rows),
        "drawn_swale_lines_flagged": sum(needs_look(row.flags) for row in rows if row.drawn),
    }


STAGE = Stage(
    name="swales",
    version=5,
    title="swale rows",
    needs=(*NEEDS, "storms", "drawn_swales", "soils", SUPPORT),
    makes=("swale_lines", "swale_rows"),
    run=_run,
    tables=("swales", "lines", "works", "rates"),
    near=True,
)
