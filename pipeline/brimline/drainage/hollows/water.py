"""What a storm does in hollows: they fill, spill into the next, and merge with their neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.drainage.hollows.catchment import downhill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.drainage.hollows.listing import Listing
    from brimline.drainage.hollows.tree import HollowTree
    from brimline.grid import Elevation, Labels

_FULL: Final = 1.0 - 1e-9  # share from which rounding alone is missing
_TURNS: Final = 2.0  # ratio within which soil and storm leave open whether a hollow fills


@dataclass(frozen=True, slots=True)
class HollowWater:
    """The water of a storm in each hollow, those inside it included.

    Parameters
    ----------
    capacity_m3 : float64 (hollows,) [m³]; up to the level at which it spills.
    arrives_m3 : float64 (hollows,) [m³]
        Runoff of its own ground and what hollows beside and above it spill into it.
    holds_m3, spills_m3 : float64 (hollows,) [m³]; what stays in it, and what runs on.
    fills : bool (hollows,); it holds all that it can.
    """

    capacity_m3: NDArray[np.float64]
    arrives_m3: NDArray[np.float64]
    holds_m3: NDArray[np.float64]
    spills_m3: NDArray[np.float64]
    fills: NDArray[np.bool_]

    @property
    def could_turn(self) -> NDArray[np.bool_]:
        """Whether half as much, or twice as much, water would turn it from filled to not filled."""
        low, high = self.capacity_m3 / _TURNS, self.capacity_m3 * _TURNS
        return (self.capacity_m3 > 0) & (self.arrives_m3 >= low) & (self.arrives_m3 <= high)

    @property
    def filled_pct(self) -> NDArray[np.float64]:
        """Share of the capacity that is full [%]; 100 where there is none."""
        share = np.ones(self.capacity_m3.size)
        np.divide(self.holds_m3, self.capacity_m3, out=share, where=self.capacity_m3 > 0)
        filled: NDArray[np.float64] = np.minimum(100.0 * share, 100.0)
        return filled


def storm_water(
    capacity_m3: NDArray[np.float64],
    own_m3: NDArray[np.float64],
    spills_to: NDArray[np.int32],
    parent_ids: NDArray[np.int32],
    level_m: NDArray[np.float64],
    opened: NDArray[np.bool_],
) -> HollowWater:
    """Fill hollows with the runoff of a storm, let them spill, and merge them.

    Outermost hollows are filled from the highest down. Inside one, what does not fit into a hollow
    runs into those that it meets at its rim; only when these are full as well does the water rise
    in the hollow around them. Where more than two meet at one level, and where overflow enters a
    hollow that holds others, it goes by the room that is left. Nothing soaks in or evaporates.

    Parameters
    ----------
    capacity_m3 : float64 (hollows,) [m³]; with those inside it.
    own_m3 : float64 (hollows,) [m³]; runoff of ground that drains to it before any other hollow.
    spills_to : int32 (hollows,); where an outermost hollow's overflow goes; 0 off the data.
    parent_ids : int32 (hollows,); outer ones first, 0 for the outermost.
    level_m : float64 (hollows,) [m]; at which it spills.
    opened : bool (hollows,)
        A pipe or breach drains it to below that level: what it cannot hold leaves all hollows
        around it too.

    References
    ----------
    Barnes, Callaghan & Wickert (2021), doi:10.5194/esurf-9-105-2021 (from memory; sharing by the
    room that is left is our own simplification)
    """
    arrives = own_m3.astype(np.float64)
    away = np.zeros(arrives.size)
    inside: dict[int, list[int]] = {}
    for hollow, parent in enumerate(parent_ids.tolist()):
        if parent > 0:
            inside.setdefault(parent - 1, []).append(hollow)
    for outermost, members in downhill(parent_ids, level_m):
        for hollow in reversed(members):
            if parent_ids[hollow] > 0:
                over = max(arrives[hollow] - capacity_m3[hollow], 0.0) if opened[hollow] else 0.0
                arrives[parent_ids[hollow] - 1] += arrives[hollow] - over
                away[outermost] += over
        for hollow in members:
            if hollow in inside:
                _share(hollow, np.array(inside[hollow]), arrives, capacity_m3, opened)
        if spills_to[outermost] > 0:
            over = max(arrives[outermost] - capacity_m3[outermost], 0.0)
            arrives[spills_to[outermost] - 1] += over + away[outermost]
    holds = np.minimum(arrives, capacity_m3)
    return HollowWater(
        capacity_m3=capacity_m3,
        arrives_m3=arrives,
        holds_m3=holds,
        spills_m3=arrives - holds + away,
        fills=holds >= capacity_m3 * _FULL,
    )


def _share(
    holder: int,
    inner: NDArray[np.int64],
    arrives: NDArray[np.float64],
    capacity_m3: NDArray[np.float64],
    opened: NDArray[np.bool_],
) -> None:
    """Share what arrives in a hollow among those inside it, in place.

    More may arrive than they gather themselves: what entered over the holder's own rim.
    """
    room = np.maximum(capacity_m3[inner] - arrives[inner], 0.0)
    over = np.maximum(arrives[inner] - capacity_m3[inner], 0.0)
    stays = np.where(opened[inner], 0.0, over)
    entered = max(arrives[holder] - (arrives[inner] - over + stays).sum(), 0.0)
    moving = stays.sum() + entered
    if room.sum() > 0:
        arrives[inner] += room * min(moving / room.sum(), 1.0)


@dataclass(frozen=True, slots=True)
class Bowls:
    """What hollows can hold when pipes and dams are opened.

    Parameters
    ----------
    capacity_m : float64 (hollows,) [m]; depths summed over cells.
    depth_m : float64 (hollows,) [m]; deepest water when full.
    opened : bool (hollows,); drained to below the level at which it spills on the survey.
    """

    capacity_m: NDArray[np.float64]
    depth_m: NDArray[np.float64]
    opened: NDArray[np.bool_]


def bowls(
    dem: Elevation,
    labels: Labels,
    tree: HollowTree,
    listing: Listing,
    opened_brim: Elevation | None,
) -> Bowls:
    """Return what each hollow can hold up to the level at which it spills, once opened.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed.
    labels : int32 (rows, cols); the innermost hollow of each cell, 0 for none.
    opened_brim : float32 (rows, cols) [m]; the filled surface with its pipes and dams opened.
    """
    nodes = listing.nodes
    capacity, depth = tree.volume_cells_m[nodes].copy(), tree.depth_m[nodes].copy()
    if opened_brim is None or nodes.size == 0:
        return Bowls(capacity, depth, np.zeros(nodes.size, dtype=np.bool_))
    level = tree.level_m[nodes]
    now = np.minimum(opened_brim.ravel()[tree.deepest_cell[nodes]].astype(np.float64), level)
    lower = now < level
    depth = np.maximum(depth - (level - now), 0.0)
    cells = np.flatnonzero(labels)
    ground, owner = dem.ravel()[cells].astype(np.float64), labels.ravel()[cells] - 1
    left = np.zeros(nodes.size)
    while cells.size and lower.any():
        room = np.where(lower[owner], np.maximum(now[owner] - ground, 0.0), 0.0)
        left += np.bincount(owner, weights=room, minlength=nodes.size)
        around = listing.parent_ids[owner] - 1
        outward = around >= 0
        ground, owner, cells = ground[outward], around[outward], cells[outward]
    inner = np.zeros(nodes.size)
    for hollow in range(nodes.size - 1, -1, -1):  # inner ones come last
        if lower[hollow]:
            capacity[hollow] = max(left[hollow], inner[hollow])
        if listing.parent_ids[hollow] > 0:
            inner[listing.parent_ids[hollow] - 1] += capacity[hollow]
    return Bowls(capacity, depth, lower)
