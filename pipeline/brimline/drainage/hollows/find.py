"""The hollows worth listing, with their sizes, nesting, spill points and catchments."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.drainage.hollows import _kernels
from brimline.drainage.hollows.catchment import hollow_catchments
from brimline.drainage.hollows.listing import (
    HollowLimits,
    kept_by_size,
    kept_with_holders,
    listed_nodes,
)
from brimline.drainage.hollows.tree import hollow_tree
from brimline.drainage.hollows.water import bowls, storm_water
from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, checked_elevation, checked_same_shape
from brimline.grid.nodata import outside
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.drainage.hollows.tree import HollowTree
    from brimline.drainage.hollows.water import HollowWater
    from brimline.grid import BoolGrid, Elevation, Labels

_LEAST_M: Final = 1e-3  # what is shallower is a residue of opening it


@dataclass(frozen=True, slots=True)
class Hollows:
    """Hollows numbered from 1, outer ones before those inside, then by their deepest cells.

    Parameters
    ----------
    labels : int32 (rows, cols)
        The innermost hollow in which the cell lies under water; 0 on dry ground.
    parent_ids, nesting : int32 (hollows,)
        The hollow that takes it in when full (0: outermost), and how many lie around it.
    depth_m, volume_m3, area_m2, spill_level_m : float64 (hollows,)
        When full to the spill level, hollows inside included.
    deepest_cells, spill_cells : int64 (hollows,)
        Linear indices of the deepest cell, and of the cell of ground over which it overflows.
    spills_to_ids : int32 (hollows,)
        The hollow that its overflow reaches next; the parent of a hollow inside another; 0 where
        the water leaves the data.
    catchment_m2 : float64 (hollows,) [m²]
        Ground that drains to it when hollows above it are full, its own water surface included.
    edge_limited : bool (hollows,)
        Its catchment reaches the edge of the data, so what drains to it is a lower bound.
    water : HollowWater; what a storm does in it, where `find_hollows` was told its runoff.
    holds_void : bool (hollows,)
        True where nodata lies inside: depth, area and volume are lower bounds.
    kept : bool (hollows,)
        Its water does not run on, because it or a hollow inside it is kept.
    sinks : bool (rows, cols)
        The deepest cells of each innermost kept hollow, a level floor as a whole, as
        conditioning and directions take them.
    other_sinks : bool (rows, cols)
        Sinks if those hollows that a storm decides on, and brings between half and twice what they
        hold, were taken the other way; else the same as `sinks`.
    missed_points : int64
        Positions of the points given to keep hollows that lie in no hollow.
    """

    labels: Labels
    parent_ids: NDArray[np.int32]
    nesting: NDArray[np.int32]
    depth_m: NDArray[np.float64]
    volume_m3: NDArray[np.float64]
    area_m2: NDArray[np.float64]
    spill_level_m: NDArray[np.float64]
    deepest_cells: NDArray[np.int64]
    spill_cells: NDArray[np.int64]
    spills_to_ids: NDArray[np.int32]
    catchment_m2: NDArray[np.float64]
    edge_limited: NDArray[np.bool_]
    water: HollowWater | None
    holds_void: NDArray[np.bool_]
    kept: NDArray[np.bool_]
    sinks: BoolGrid
    other_sinks: BoolGrid
    missed_points: NDArray[np.int64]

    def labels_at(self, nesting: int) -> Labels:
        """Label every cell by the hollow of that nesting around it; 0 where there is none.

        Hollows of one nesting never overlap, so their outlines can be drawn from one raster.
        """
        owner = np.arange(self.parent_ids.size + 1, dtype=np.int32)
        for hollow in range(1, owner.size):
            if self.nesting[hollow - 1] < nesting:
                owner[hollow] = 0
            elif self.nesting[hollow - 1] > nesting:
                owner[hollow] = owner[self.parent_ids[hollow - 1]]
        found: Labels = owner[self.labels]
        return found


def find_hollows(
    dem: Elevation,
    *,
    cell_m: float,
    min_depth_m: float = 0.0,
    min_area_m2: float = 0.0,
    min_volume_m3: float = 0.0,
    keep_depth_m: float | None = None,
    keep_area_m2: float = 0.0,
    keep_points: ArrayLike = (),
    runoff_mm: float | None = None,
    keep_unfilled: bool = False,
    opened: Elevation | None = None,
    filled: Elevation | None = None,
) -> Hollows:
    """Find the closed depressions of a surface, and how they nest.

    An outermost hollow is one connected piece of what `fill` raises. A hollow inside it is listed
    where two or more that all reach the limits meet as the water rises; one that meets only
    smaller ones is a stage of the filling, not a hollow of its own. A hollow reaches the limits
    if its depth, area and volume to its own spill level do, if the rule keeps it, or if a given
    point lies in it.

    The rule keeps hollows at least `keep_depth_m` deep and `keep_area_m2` large; points keep the
    innermost listed hollow that they lie in; `keep_unfilled` keeps those that a storm does not
    fill, unless what is left of them on `opened` is too shallow to be listed. Water that reaches a
    kept hollow gathers at its deepest cell, so that the ground behind it is counted in one place.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed, NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    min_depth_m, min_area_m2, min_volume_m3 : limits of what is listed.
    keep_depth_m : depth from which hollows are kept [m]; None keeps none by rule.
    keep_points : int (points, 2); row and column of points that keep a hollow.
    runoff_mm : runoff of a storm [mm], the same everywhere; gives `Hollows.water`.
    keep_unfilled : keep what that storm does not fill.
    opened : float32 (rows, cols) [m], optional
        The surface with pipes and short dams opened, by which hollows hold less or nothing.
    filled : float32 (rows, cols) [m], optional; `fill(dem)`, where it is at hand.

    Raises
    ------
    ValueError
        If a size is out of range.
    GridError
        If `dem` is not a 2-D float array with a finite cell, or the shapes differ.

    References
    ----------
    Barnes, Callaghan & Wickert (2020), Computing water flow through complex landscapes, part 2:
    finding hierarchies in depressions, doi:10.5194/esurf-8-431-2020 (the tree); Barnes, Callaghan
    & Wickert (2021), part 3: Fill-Spill-Merge, doi:10.5194/esurf-9-105-2021 (the water; from
    memory)
    """
    if keep_unfilled and runoff_mm is None:
        raise ValueError("keep_unfilled needs the runoff_mm of a storm")
    if not cell_m > 0:
        raise ValueError(f"cell_m must be above 0 m, got {cell_m} m")
    cell_area_m2 = np.float64(cell_m) ** 2
    surface = checked_elevation(dem)
    brim = fill(surface) if filled is None else checked_elevation(filled, "filled")
    checked_same_shape(dem=surface, filled=brim)
    nodata = np.isnan(surface)
    void = nodata & ~outside(nodata)
    tree = hollow_tree(surface, brim, void)
    limits = HollowLimits(
        min_depth_m=min_depth_m,
        min_size=min_area_m2 / cell_area_m2,
        min_volume_cells_m=min_volume_m3 / cell_area_m2,
        keep_depth_m=keep_depth_m,
        keep_size=keep_area_m2 / cell_area_m2,
    )
    drawn, missed = _nodes_at(keep_points, tree, surface.shape)
    listing = listed_nodes(tree, limits, drawn)
    nodes = listing.nodes
    labels: Labels = np.zeros(surface.shape, dtype=np.int32)
    labels.ravel()[tree.cells] = listing.number_of[tree.node_of]
    labels[void] = 0
    outer = listing.parent_ids == 0
    spill_cells = tree.meeting_cell[nodes].copy()
    spill_cells[outer], beyond = _kernels.spills(
        brim, surface, void, tree.deepest_cell[nodes[outer]]
    )
    ground = hollow_catchments(
        surface, tree.deepest_cell[nodes], listing.parent_ids, tree.level_m[nodes], beyond
    )
    by_rule = kept_by_size(tree, limits)[nodes]
    water = None
    unsure = np.zeros(by_rule.size, dtype=np.bool_)
    if runoff_mm is not None:
        bowl = bowls(surface, labels, tree, listing, None if opened is None else fill(opened))
        water = storm_water(
            bowl.capacity_m * cell_area_m2,
            ground.own_cells * cell_area_m2 * runoff_mm * 1e-3,
            ground.spills_to,
            listing.parent_ids,
            tree.level_m[nodes],
            bowl.opened,
        )
        if keep_unfilled:
            deep = bowl.depth_m >= max(min_depth_m, _LEAST_M)
            unsure = deep & ~by_rule & water.could_turn
            by_rule |= ~water.fills & deep
    kept, innermost_kept = kept_with_holders(listing, by_rule, drawn)
    sinks = _floors(surface, tree.deepest_cell[nodes[innermost_kept]])
    other_sinks = sinks
    if unsure.any():
        _, innermost = kept_with_holders(listing, by_rule ^ unsure, drawn)
        other_sinks = _floors(surface, tree.deepest_cell[nodes[innermost]])
    return Hollows(
        labels=labels,
        parent_ids=listing.parent_ids,
        nesting=listing.nesting,
        depth_m=tree.depth_m[nodes],
        volume_m3=tree.volume_cells_m[nodes] * cell_area_m2,
        area_m2=tree.size[nodes] * cell_area_m2,
        spill_level_m=tree.level_m[nodes],
        deepest_cells=tree.deepest_cell[nodes],
        spill_cells=spill_cells,
        spills_to_ids=np.where(outer, ground.spills_to, listing.parent_ids).astype(np.int32),
        catchment_m2=ground.cells * cell_area_m2,
        edge_limited=ground.edge_limited,
        water=water,
        holds_void=tree.holds_void[nodes],
        kept=kept,
        sinks=sinks,
        other_sinks=other_sinks,
        missed_points=missed,
    )


def _floors(surface: Elevation, deepest_cells: NDArray[np.int64]) -> BoolGrid:
    """Tell the level floors around the deepest cells: all that is as low and joins them.

    A floor of many cells is a sink as a whole, so that no order of cells chooses one of them.
    """
    floor = np.zeros(surface.shape, dtype=np.bool_)
    level, marked = surface.ravel(), floor.ravel()
    edge = np.unique(np.asarray(deepest_cells, dtype=np.int64))
    while edge.size:
        marked[edge] = True
        row, col = np.divmod(edge, surface.shape[1])
        rows = (row[:, np.newaxis] + D_ROW).ravel()
        cols = (col[:, np.newaxis] + D_COL).ravel()
        inside = (rows >= 0) & (rows < surface.shape[0]) & (cols >= 0) & (cols < surface.shape[1])
        beside = rows[inside] * surface.shape[1] + cols[inside]
        from_level = np.repeat(level[edge], len(D_ROW))[inside]
        edge = np.unique(beside[(level[beside] == from_level) & ~marked[beside]])
    return floor


def _nodes_at(
    points: ArrayLike, tree: HollowTree, shape: tuple[int, int]
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Innermost nodes in which the points lie, and the positions of points that lie in none."""
    places = np.asarray(points, dtype=np.int64).reshape(-1, 2)
    if ((places < 0) | (places >= shape)).any():
        raise GridError(f"a point that keeps a hollow lies outside the raster of {shape} cells")
    wanted = places[:, 0] * shape[1] + places[:, 1]
    by_index = np.argsort(tree.cells)
    cells = tree.cells[by_index]
    at = np.minimum(np.searchsorted(cells, wanted), max(cells.size - 1, 0))
    hit = cells[at] == wanted if cells.size else np.zeros(wanted.size, dtype=np.bool_)
    return tree.node_of[by_index[at[hit]]], np.flatnonzero(~hit)
