"""Water run over the designed surface: whether elements hold, and where their overflows go.

The surface is filled, so that water leaves every hollow at its own brim, wherever that is. What
the drawing says is not asked: an end that leaks, a sill that lies too high or an overflow that
runs past what it should reach show themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import ndimage

from brimline.drainage.flow import flow_directions
from brimline.drainage.receiving import way_down
from brimline.grid import LABEL_NONE, checked_same_shape
from brimline.terrain.conditioning import burn, fill

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import BoolGrid, Elevation, Labels

_ANY_CORNER: Final = np.ones((3, 3), dtype=np.int64)
_WET_M: Final = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Proved:
    """What water did with one element.

    Parameters
    ----------
    label : its number.
    brim_level_m : level at which the surface spills where the element is deepest [m].
    holds_m3 : volume of that hollow below its brim [m³].
    reached : number of what its overflow meets first; 0 where it leaves the data.
    rows, cols : int64 (cells,), the way of the overflow, from the deepest cell.
    leaves : place in it of the first cell that stands out of the hollow's water.
    at_building : whether that way runs through a building.
    outside_m : how much of it lies outside the boundary [m].
    """

    label: int
    brim_level_m: float
    holds_m3: float
    reached: int
    rows: NDArray[np.int64]
    cols: NDArray[np.int64]
    leaves: int
    at_building: bool
    outside_m: float


def prove(
    design_m: Elevation,
    labels: Labels,
    wanted: Sequence[int],
    *,
    cell_m: float,
    buildings: BoolGrid,
    inside: BoolGrid,
    burns: Iterable[ArrayLike] = (),
    sinks: BoolGrid | None = None,
) -> list[Proved]:
    """Fill the designed surface and follow every overflow.

    Parameters
    ----------
    design_m : float32 (rows, cols) [m]; NaN is nodata.
    labels : int32 (rows, cols); number of the element dug in each cell, and of each discharge
        point; 0 elsewhere.
    wanted : numbers of the elements to prove; those without a cell are left out.
    buildings, inside : bool (rows, cols); cells of buildings, and cells inside the boundary.
    burns : pipes under tracks, as `brimline.terrain.conditioning.burn` takes them.
    sinks : bool (rows, cols), optional
        Where water ends, and hollows are not filled: discharge points, hollows that the check
        storm cannot fill.

    Raises
    ------
    GridError
        If shapes differ.
    """
    checked_same_shape(design_m=design_m, labels=labels, buildings=buildings, inside=inside)
    surface = burn(design_m, burns, cell_m=cell_m).surface
    filled = fill(surface, sinks=sinks)
    directions = flow_directions(filled, sinks=sinks)
    depth_m = filled.astype(np.float64) - surface
    found = []
    for label in wanted:
        mine = (labels == label) & np.isfinite(surface)
        if not mine.any():
            continue
        deepest = np.unravel_index(np.argmin(np.where(mine, surface, np.inf)), surface.shape)
        row, col = int(deepest[0]), int(deepest[1])
        stop: Labels = np.where(labels == label, LABEL_NONE, labels).astype(np.int32)
        rows, cols = way_down(directions, row, col, stop)
        found.append(
            Proved(
                label,
                float(filled[row, col]),
                _held_m(row, col, depth_m, filled) * cell_m**2,
                int(stop[rows[-1], cols[-1]]),
                rows,
                cols,
                int(np.argmax(np.append(depth_m[rows[:-1], cols[:-1]] <= _WET_M, True))),
                bool(buildings[rows, cols].any()),
                float((~inside[rows, cols]).sum()) * cell_m,
            )
        )
    return found


def _held_m(row: int, col: int, depth_m: NDArray[np.float64], filled: Elevation) -> float:
    """Depths summed over the hollow that holds a cell: what lies under the same water [m]."""
    if not depth_m[row, col] > _WET_M:
        return 0.0
    pool: Any = (depth_m > 0) & (np.abs(filled - filled[row, col]) < _WET_M)
    numbers, _ = ndimage.label(pool, structure=_ANY_CORNER)
    return float(depth_m[numbers == numbers[row, col]].sum())
