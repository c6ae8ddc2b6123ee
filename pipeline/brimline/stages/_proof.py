"""What a stage needs to run water over designs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.config import Proof
from brimline.design import BUILDING, ProvedWater, StandingWalls
from brimline.stages._plan import BUILT
from brimline.stages._survey_error import SUPPORT, survey_error_m

if TYPE_CHECKING:
    from brimline.engine.stage import Given
    from brimline.grid import Grid

_PARTS: Final = 2
_WIDEST_M: Final = 1.25  # half of what the mound of a usual swale is wide at its water
_MOST_CELLS: Final = 20_000_000

# what a stage must need to prove a design, next to the tables that follow
PROVED: Final = (
    *BUILT, "discharge_points", "keep_out_drawn", "boundary", "culverts", "hollows", SUPPORT,
)  # fmt: skip
PROVED_BY: Final = ("proof", "earthworks", "survey")


def water_of(given: Given) -> ProvedWater:
    """Return the water of a run, to run over designs; needs `PROVED`."""
    params, drawn = given.params("proof", Proof), given.frame("keep_out_drawn")
    kept = given.frame("hollows")
    kept = kept[kept["kept"].to_numpy(dtype=np.bool_)]
    innermost = kept[~kept["hollow_id"].isin(kept["parent_id"])]
    return ProvedWater(
        given.grid, _parts(given.grid, params.refine), given.value("walls", StandingWalls),
        boundary=given.frame("boundary").geometry.to_list(),
        buildings=drawn.geometry[drawn["kind"] == BUILDING].to_list(),
        hollows=innermost.geometry.to_list(),
        culverts=given.frame("culverts").geometry.to_list(),
        # the ground before a sill is known no better than the survey tells
        tolerance_m=max(params.tolerance_m, survey_error_m(given)),
    )  # fmt: skip


def _parts(grid: Grid, asked: int | None) -> int:
    """Into how many parts a cell's side is split, so that a bank is two cells wide at least."""
    if asked is not None:
        return asked
    wanted = max(_PARTS, math.ceil(grid.cell_m / _WIDEST_M))
    most = math.isqrt(_MOST_CELLS // math.prod(grid.shape))
    return max(_PARTS, min(wanted, most))
