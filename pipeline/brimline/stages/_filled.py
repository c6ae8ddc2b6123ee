"""How deep the ground was filled so that water runs across it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.terrain.filled import FilledGround

if TYPE_CHECKING:
    from brimline.engine.stage import Given

FILLED: Final = ("elevation", "conditioned", "conditioning")  # needs of `filled_ground`


def filled_ground(given: Given) -> FilledGround:
    """Return how deep the ground was filled; needs `FILLED`."""
    rise = given.raster("conditioned") - given.raster("elevation")
    depth = np.maximum(np.nan_to_num(rise, nan=0.0), 0.0).astype(np.float32)
    return FilledGround(given.grid, depth, given.facts("conditioning")["tell_fill_m"])
