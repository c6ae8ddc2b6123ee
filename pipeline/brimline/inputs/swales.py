"""What the configuration says of proposed swale rows, as the rows keep to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.elements import Soak
from brimline.errors import InputError
from brimline.inputs.rules import usual_water
from brimline.lines.rows import Duty, RowSection, RowSpacing, WantedRows
from brimline.rainfall import runoff_depth_mm

if TYPE_CHECKING:
    from brimline.config import Rates, SwaleRows, Works
    from brimline.rainfall import Storm

_DEPTH_STEP_M: Final = 0.05


def duty_of(params: SwaleRows, works: Works, storm: Storm) -> Duty:
    """Return what the design storm sends to a row, and what a metre of row takes of it.

    The section, the ground and the soakage are those that a drawn swale is designed with.
    """
    water = usual_water(works)
    number = _said(params.runoff_curve_number, water.ground.curve_number)
    runoff = runoff_depth_mm(storm.total_mm, number)
    soak = Soak(water.soak_mm_per_h, water.soak_safety_factor).design_mm_per_h
    depth = _said(params.depth_m, works.swale_depth_m)
    bottom = _said(params.bottom_width_m, works.swale_bottom_m)
    side = _said(params.side_slope, works.swale_side)
    return Duty(
        runoff_mm=float(runoff) if params.hold_mm is None else params.hold_mm,
        storage_m2=(bottom + side * depth) * depth,
        soak_mm=_said(params.soak_mm_per_h, soak) * storm.duration_h,
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


def spacing_of(params: SwaleRows) -> RowSpacing | None:
    """Return when the next row is due; None proposes nothing."""
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
