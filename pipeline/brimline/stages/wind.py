"""Shelter from the winds that are stated, or from all alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Sun, Wind
from brimline.engine.stage import Stage
from brimline.grid.tiles import Window
from brimline.stages._raised import north_of, placed, raised, site_block
from brimline.sun import shelter_deg
from brimline.sun.shelter import LEAST_STEPS

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001 - it is quick
    params, cell_m = given.params("wind", Wind), given.grid.cell_m
    around = round(params.reach_m / cell_m) + LEAST_STEPS
    site = site_block(given)
    at = Window(
        site.row - around, site.col - around, site.rows + 2 * around, site.cols + 2 * around
    )
    at = at.common(given.block(around))
    ground = given.raster("elevation", around=around)[at.inside(given.block(around))]
    turned = north_of(given, given.params("sun", Sun))
    winds = [((bearing - turned) % 360, weight) for bearing, weight in params.from_deg]
    shelter = shelter_deg(
        ground, raised(ground, given.whole_grid.window(*at), given), winds, cell_m=cell_m,
        reach_m=params.reach_m, spread_deg=params.spread_deg, height_m=params.height_m,
    )  # fmt: skip
    return {"shelter_deg": placed("shelter_deg", shelter[site.inside(at)], given)}


STAGE = Stage(
    name="wind",
    version=2,
    title="shelter from wind",
    needs=("grid", "near", "near_site", "elevation", "obstructions"),
    makes=("shelter_deg",),
    run=_run,
    tables=("wind", "sun"),
    near=True,
)
