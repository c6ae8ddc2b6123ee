"""Where cells are: the grid as a value, array types, nodata, and neighbours."""

from brimline.grid.arrays import (
    LABEL_NONE,
    Accumulation,
    BoolGrid,
    Directions,
    Elevation,
    Labels,
    checked_elevation,
    checked_same_shape,
    held_levels,
    read_only,
)
from brimline.grid.frame import Grid
from brimline.grid.neighbours import (
    D_COL,
    D_ROW,
    NO_DATA,
    OUTLET,
    STEP,
    reverse,
)

__all__ = [
    "D_COL",
    "D_ROW",
    "LABEL_NONE",
    "NO_DATA",
    "OUTLET",
    "STEP",
    "Accumulation",
    "BoolGrid",
    "Directions",
    "Elevation",
    "Grid",
    "Labels",
    "checked_elevation",
    "checked_same_shape",
    "held_levels",
    "read_only",
    "reverse",
]
