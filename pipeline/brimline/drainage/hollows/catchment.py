"""The ground behind each hollow, and where overflow goes next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import flow_directions
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation


@dataclass(frozen=True, slots=True)
class HollowGround:
    """The ground behind each hollow, outer ones first.

    Parameters
    ----------
    spills_to : int32 (hollows,); the hollow that overflow reaches next, 0 for none and inside.
    own_cells : int64 (hollows,)
        Cells that drain to it before any other; 0 for those that hold others.
    cells : int64 (hollows,); those that drain to it when all above it are full.
    edge_limited : bool (hollows,); water from beyond the data may reach it, so both are lower
        bounds.
    """

    spills_to: NDArray[np.int32]
    own_cells: NDArray[np.int64]
    cells: NDArray[np.int64]
    edge_limited: NDArray[np.bool_]


def hollow_catchments(
    dem: Elevation,
    deepest_cells: NDArray[np.int64],
    parent_ids: NDArray[np.int32],
    level_m: NDArray[np.float64],
    beyond: NDArray[np.int64],
) -> HollowGround:
    """Count the cells that drain to each hollow, those that reach it by overflow included.

    Water is led over a surface on which only the hollows that hold no other listed one stay open,
    each as a sink at its deepest cell; all smaller ones are filled.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed.
    deepest_cells, parent_ids, level_m : (hollows,); of each hollow, outer ones first.
    beyond : int64 (outermost hollows,); where the overflow of each goes on; -1 off the data.
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
    own = np.zeros(hollows, dtype=np.int64)
    own[open_ids - 1] = ground.own_cells
    at_edge = np.zeros(hollows, dtype=np.int64)
    at_edge[open_ids - 1] = ground.edge_limited
    order = downhill(parent_ids, level_m)
    return HollowGround(
        spills_to=spills_to,
        own_cells=own,
        cells=_with_overflow(own, spills_to, parent_ids, order),
        edge_limited=_with_overflow(at_edge, spills_to, parent_ids, order) > 0,
    )


def downhill(
    parent_ids: NDArray[np.int32], level_m: NDArray[np.float64]
) -> list[tuple[int, list[int]]]:
    """List outermost hollows from the highest level, each with all inside it, outer ones first.

    Water spills only into outermost hollows of a lower level, so this is the order of overflow.
    Positions count from 0; the lists hold the outermost hollow itself too.
    """
    inside: dict[int, list[int]] = {}
    root = np.arange(parent_ids.size)
    for hollow in range(parent_ids.size):  # outer ones first
        if parent_ids[hollow] > 0:
            root[hollow] = root[parent_ids[hollow] - 1]
        inside.setdefault(int(root[hollow]), []).append(hollow)
    return sorted(inside.items(), key=lambda one: (-level_m[one[0]], one[0]))


def _with_overflow(
    own: NDArray[np.int64],
    spills_to: NDArray[np.int32],
    parent_ids: NDArray[np.int32],
    order: list[tuple[int, list[int]]],
) -> NDArray[np.int64]:
    """Add to each hollow what its inner ones and those that spill into it gather."""
    cells = own.copy()
    for outermost, members in order:
        for hollow in reversed(members):
            if parent_ids[hollow] > 0:
                cells[parent_ids[hollow] - 1] += cells[hollow]
        if spills_to[outermost] > 0:
            cells[spills_to[outermost] - 1] += cells[outermost]
    return cells
