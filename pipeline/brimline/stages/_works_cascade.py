"""The drawn cascade with all that arrives at it: laid out, its sills sized, ready to be routed."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.cascade import Limits, Network, Pace
from brimline.errors import InputError
from brimline.grid.shapes import cells_inside
from brimline.io.inflows import read_inflows
from brimline.rainfall import Storm
from brimline.stages._works_arrivals import arrivals_of
from brimline.stages._works_shapes import Site, collect, drawn_names
from brimline.stages._works_sizes import Rules, designed
from brimline.stages._works_ways import ground_of, ways_of
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from brimline.config import Works
    from brimline.engine.stage import Given
    from brimline.errors import Problem
    from brimline.stages._works_sizes import Designed
    from brimline.stages._works_ways import Ways

_SMOOTH_M: Final = 2.0  # takes the survey's noise off the levels that elements are designed from
_STEP_S: Final = 60.0
DRAWN: Final = ("drawn_swales", "drawn_drains", "drawn_ponds", "drawn_basins", "drawn_tanks")
PLAN: Final = (*DRAWN, "drawn_pipes", "drawn_overflows", "discharge_points", "inflow_points")
# what a stage must need, next to the rules of works and the source inflows, to call `laid_out`
NEEDS: Final = (
    "grid", "elevation", "slope_pct", "flow_direction", "contributing_area_m2", "surfaces",
    "soils", "keep_out", "storms", *PLAN,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A cascade before any storm but the design storm has run through it.

    Parameters
    ----------
    names : of everything that was drawn, whether it can be made or not.
    done : the cascade with every outlet and dimension sized, and the design storm routed.
    problems : what could not be made or was assumed.
    """

    names: tuple[str, ...]
    done: Designed
    ways: Ways
    site: Site
    rules: Rules
    problems: list[Problem] = field(default_factory=list)


def laid_out(given: Given, works: Works) -> LaidOut | list[Problem]:
    """Make the cascade of what was drawn.

    Returns
    -------
    the cascade, or what was found on the way where nothing that was drawn can be made.

    Raises
    ------
    InputError
        If names are used twice.
    """
    grid = given.grid
    plan = {name: given.frame(name) for name in PLAN}
    site = _site(given, works)
    collected = collect(plan, site)
    problems = list(collected.problems)
    drawn = collected.drawn
    if not drawn:
        return problems
    ground, discharges = ground_of(
        drawn, plan["discharge_points"], given.raster("flow_direction"), grid
    )
    ways = ways_of(drawn, plan, ground, site)
    layers = {name: given.frame(name) for name in ("surfaces", "soils")}
    rasters = {name: given.raster(name) for name in ("elevation", "contributing_area_m2")}
    layers["inflow_points"] = plan["inflow_points"]
    path = given.source("inflows", Path)
    flows = {} if path is None else read_inflows(path)
    arrivals, found, _ = arrivals_of(drawn, ground, layers, rasters, works, flows)
    problems += [*ways.problems, *found]
    try:
        network = Network(
            tuple(one.element for one in drawn),
            tuple(way.link for way in ways.ways),
            tuple(discharges),
        )
    except ValueError as error:
        raise InputError.of(
            str(error), mend="give every element and discharge point its own name", source="plan"
        ) from error
    rules = Rules(works, limits_of(works), Pace(after_h=works.after_h), _STEP_S)
    facts = given.facts("storms")
    storms = [storm_of(plain) for plain in (facts["design"], *facts["checks"])]
    later = [place for place, way in enumerate(ways.ways) if way.sized_later]
    done = designed(network, drawn, arrivals, storms, later, rules)
    return LaidOut(drawn_names(plan), done, ways, site, rules, problems)


def limits_of(works: Works) -> Limits:
    """Return what a cascade must keep, as the configuration has it."""
    return Limits(
        min_drop_m=works.min_drop_m,
        drawdown_h=works.drawdown_h,
        engineer_height_m=works.engineer_height_m,
        engineer_volume_m3=works.engineer_volume_m3,
        steep_slope_pct=works.max_slope_pct,
    )


def storm_of(plain: dict[str, Any]) -> Storm:
    """Return a storm from the plain values that lie between stages."""
    return Storm(
        plain["name"], plain["step_s"], np.array(plain["depth_mm"]), plain["return_period_y"]
    )


def _site(given: Given, works: Works) -> Site:
    grid = given.grid
    soak = np.full(grid.shape, np.nan, dtype=np.float32)
    for shape, rate in zip(
        given.frame("soils").geometry, given.frame("soils")["soak_mm_per_h"], strict=True
    ):
        if not pd.isna(rate):
            soak[cells_inside([shape], grid)] = rate
    levels = smoothed(given.raster("elevation"), cell_m=grid.cell_m, sigma_m=_SMOOTH_M)
    return Site(grid, levels, given.raster("slope_pct"), soak, given.frame("soils"), works)
