"""A design as one fine grid, for running water over it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.grid import LABEL_NONE
from brimline.terrain.shaping.refine import finer_ground

if TYPE_CHECKING:
    from brimline.grid import Elevation, Grid, Labels
    from brimline.terrain.shaping.surface import DesignSurface


@dataclass(frozen=True, slots=True, eq=False)
class Everywhere:
    """Ground and design on one grid; arrays (rows, cols).

    Parameters
    ----------
    ground_m, design_m : float32 [m].
    dug_by, heaped_by : int32; number of the element, as `Composed`.
    """

    grid: Grid
    ground_m: Elevation
    design_m: Elevation
    dug_by: Labels
    heaped_by: Labels


def everywhere(design: DesignSurface, factor: int) -> Everywhere:
    """Work out a design on the whole of its grid, each cell split into `factor` × `factor`.

    Raises
    ------
    GridError
        If `factor` is below 1.
    """
    shaped = design.surface(factor=factor)
    grid = design.grid.finer(factor)
    ground = finer_ground(design.dem, 0, 0, *design.grid.shape, factor).astype(np.float32)
    level = ground.copy()
    dug_by = np.full(grid.shape, LABEL_NONE, dtype=np.int32)
    heaped_by = dug_by.copy()
    for piece in shaped.pieces:
        here = _place(piece.row, piece.col, piece.grid.shape, factor)
        level[here] = piece.design_m
        dug_by[here], heaped_by[here] = piece.dug_by, piece.heaped_by
    return Everywhere(grid, ground, level, dug_by, heaped_by)


def _place(row: int, col: int, shape: tuple[int, int], factor: int) -> tuple[slice, slice]:
    first = (row * factor, col * factor)
    return slice(first[0], first[0] + shape[0]), slice(first[1], first[1] + shape[1])
