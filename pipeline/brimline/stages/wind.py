"""Shelter from the winds that are stated, or from all alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Sun, Wind
from brimline.engine.stage import Stage
from brimline.stages._frames import held
from brimline.stages._raised import north_of, raised
from brimline.sun import shelter_deg

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001 - it is quick
    params, ground = given.params("wind", Wind), given.raster("elevation")
    turned = north_of(given, given.params("sun", Sun))
    winds = [((bearing - turned) % 360, weight) for bearing, weight in params.from_deg]
    shelter = shelter_deg(
        ground, raised(ground, given), winds, cell_m=given.grid.cell_m, reach_m=params.reach_m,
        spread_deg=params.spread_deg, height_m=params.height_m,
    )  # fmt: skip
    return {"shelter_deg": held("shelter_deg", shelter)}


STAGE = Stage(
    name="wind",
    version=2,
    title="shelter from wind",
    needs=("grid", "elevation", "obstructions"),
    makes=("shelter_deg",),
    run=_run,
    tables=("wind", "sun"),
)
