"""The ground behind each hollow, and where overflow goes next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import flow_directions
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation


def hollow_catchments(
    dem: Elevation,
    deepest_cells: NDArray[np.int64],
    parent_ids: NDArray[np.int32],
    level_m: NDArray[np.float64],
    beyond: NDArray[np.int64],
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Count the cells that drain to each hollow, those that reach it by overflow included.

    Water is led over a surface on which only the hollows that hold no other listed one stay open,
    each as a sink at its deepest cell; all smaller ones are filled.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed.
    deepest_cells, parent_ids, level_m : (hollows,); of each hollow, outer ones first.
    beyond : int64 (outermost hollows,); where the overflow of each goes on; -1 off the data.

    Returns
    -------
    spills_to : int32 (hollows,); the hollow that overflow reaches next, 0 for none and inside.
    cells : int64 (hollows,)
    """
    hollows = parent_ids.size
    spills_to = np.zeros(hollows, dtype=np.int32)
    open_ids = np.setdiff1d(np.arange(1, hollows + 1), parent_ids)
    pits = deepest_cells[open_ids - 1]
    sinks = np.zeros(dem.shape, dtype=np.bool_)
    sinks.ravel()[pits] = True
    directions = flow_directions(fill(dem, sinks=sinks), sinks=sinks)
    ground = subcatchments(directions, np.column_stack(np.divmod(pits, dem.shape[1])))
    outer = np.flatnonzero(parent_ids == 0)
    onward = beyond >= 0
    reached = np.concatenate(([0], open_ids))[ground.labels.ravel()[beyond[onward]]]
    spills_to[outer[onward]] = reached
    cells = np.zeros(hollows, dtype=np.int64)
    cells[open_ids - 1] = ground.own_cells
    _add_overflow(cells, spills_to, parent_ids, level_m)
    return spills_to, cells


def _add_overflow(
    cells: NDArray[np.int64],
    spills_to: NDArray[np.int32],
    parent_ids: NDArray[np.int32],
    level_m: NDArray[np.float64],
) -> None:
    """Add to each hollow what its inner ones and those that spill into it gather, in place.

    Water spills only into outermost hollows of a lower level, so these are done from the highest.
    """
    inside: dict[int, list[int]] = {}
    root = np.arange(cells.size)
    for hollow in range(cells.size):  # outer ones first
        if parent_ids[hollow] > 0:
            root[hollow] = root[parent_ids[hollow] - 1]
        inside.setdefault(int(root[hollow]), []).append(hollow)
    for outermost in sorted(inside, key=lambda hollow: (-level_m[hollow], hollow)):
        for hollow in reversed(inside[outermost]):
            if parent_ids[hollow] > 0:
                cells[parent_ids[hollow] - 1] += cells[hollow]
        if spills_to[outermost] > 0:
            cells[spills_to[outermost] - 1] += cells[outermost]
