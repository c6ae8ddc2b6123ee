"""The eight neighbours of a cell, counted counter-clockwise from east, and the codes beside them.

Directions hold the neighbour that receives a cell's water: 0 E, 1 NE, 2 N, 3 NW, 4 W, 5 SW, 6 S,
7 SE; `OUTLET` where water leaves the ground that is modelled or a sink is kept; `NO_DATA` outside
it. Rows count southwards, columns eastwards.
"""

from __future__ import annotations

from typing import Final

import numpy as np

OUTLET: Final = 8
NO_DATA: Final = 255

D_ROW: Final = np.array([0, -1, -1, -1, 0, 1, 1, 1], dtype=np.int64)
D_COL: Final = np.array([1, 1, 0, -1, -1, -1, 0, 1], dtype=np.int64)
STEP: Final = np.sqrt((D_ROW**2 + D_COL**2).astype(np.float64))  # in cells: 1 or sqrt(2)

for _table in (D_ROW, D_COL, STEP):
    _table.setflags(write=False)


def reverse(direction: int) -> int:
    """Return the neighbour code that points back; only for 0 to 7."""
    return direction ^ 4
