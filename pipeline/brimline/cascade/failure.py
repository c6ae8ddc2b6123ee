"""Where the water of a failed bank would run, and what stands in its way: a screening.

The depth of the water on its way is not routed. Right below a bank that is gone at once it is at
most four ninths of what stood behind it (Ritter 1892, dry level bed without friction), and it only
falls from there; so whatever lies within that height over the way, and near it, counts as reached.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.drainage.receiving import ways_below
from brimline.elements.sill import GRAVITY_M_S2

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import Directions, Elevation, Grid

DEPTH_SHARE: Final = 4 / 9  # of the water behind the bank (Ritter 1892)
_SPEED_SHARE: Final = 2 / 3  # of the speed of a wave on that water (Ritter 1892)
_STEADY_M_S: Final = 0.5  # in the hazard rating, so that still deep water counts
_HIGH_SHARE: Final = 0.5  # of its height from which a bank may give way
_TIE_M: Final = 1e-6


def hazard_rating(water_m: float) -> float:
    """Flood hazard rating right below a bank that is gone at once, d (v + 0.5) [m²/s].

    From 0.75 dangerous for some, such as children; from 1.25 for most; from 2.5 for all.
    An upper bound: a breach opens slowly, and few banks hold water to their crest.

    Parameters
    ----------
    water_m : depth that stood behind the bank [m].

    References
    ----------
    Ritter (1892), Die Fortpflanzung der Wasserwellen; Defra and Environment Agency, FD2320/TR2
    (2005), without its factor for debris (from memory)
    """
    speed_m_s = _SPEED_SHARE * math.sqrt(GRAVITY_M_S2 * max(water_m, 0.0))
    return DEPTH_SHARE * max(water_m, 0.0) * (speed_m_s + _STEADY_M_S)


@dataclass(frozen=True, slots=True)
class InTheWay:
    """Something that the water of a failed bank could reach.

    Parameters
    ----------
    place : of what was asked.
    distance_m : that the water has run before it is there [m].
    """

    place: int
    distance_m: float


@dataclass(frozen=True, slots=True, eq=False)
class FailureWay:
    """Where the water of a failed bank would run.

    Parameters
    ----------
    line : way from the lowest ground under the bank, down to where it leaves the data.
    x, y, level_m, distance_m : float64 (cells,), all cells that water from any high part of the
        bank runs over, their level, and how far it has run [m].
    depth_m : most that the water is deep [m].
    """

    line: shapely.LineString
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    level_m: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    depth_m: float

    def reaches(
        self, shapes: Iterable[BaseGeometry], ground: Elevation, grid: Grid, spread_m: float
    ) -> list[InTheWay]:
        """Return what lies near the way and no higher than the water can stand, soonest first.

        Its lowest ground is held against the cells of the way that lie nearest to it.

        Parameters
        ----------
        ground : float32 (rows, cols) [m].
        spread_m : how far to a side of the way the water may spread [m].
        """
        cells = shapely.points(self.x, self.y)
        tree = shapely.STRtree(cells)
        found = []
        for place, shape in enumerate(shapes):
            near = tree.query(shape, predicate="dwithin", distance=spread_m)
            if not near.size:
                continue
            away_m = shapely.distance(cells[near], shape)
            near = near[away_m <= away_m.min() + _TIE_M]
            low = near[self.level_m[near] + self.depth_m >= _lowest_m(shape, ground, grid)]
            if low.size:
                found.append(InTheWay(place, float(self.distance_m[low].min())))
        return sorted(found, key=lambda one: (one.distance_m, one.place))

    def leaves_m(self, site: BaseGeometry) -> float:
        """Distance run when water first lies outside an area [m]; infinite where it never does."""
        shapely.prepare(site)
        outside = ~shapely.contains_xy(site, self.x, self.y)
        return float(self.distance_m[outside].min(initial=math.inf))


def failure_way(
    directions: Directions,
    filled: Elevation,
    earth: NDArray[np.int64],
    grid: Grid,
    *,
    crest_m: float,
    height_m: float,
    follow_m: float,
) -> FailureWay | None:
    """Follow the water of a bank that fails, wherever it is at least half as high as at most.

    Parameters
    ----------
    directions : uint8 (rows, cols) on `filled`.
    filled : float32 (rows, cols) [m]; ground that drains, so that the way goes on over hollows.
    earth : int64 (cells,), linear indices; cells of the bank.
    crest_m, height_m : level of its crest, and its greatest height over the ground below [m].
    follow_m : how far the water is followed [m].

    Returns
    -------
    None where the bank has no cell on the data that is low enough.
    """
    levels = filled.ravel()
    on = earth[np.isfinite(levels[earth])]
    starts = on[levels[on] <= crest_m - _HIGH_SHARE * height_m]
    if not starts.size:
        return None
    follow = partial(ways_below, directions, cell_m=grid.cell_m, most_m=follow_m)
    cells, far_m = follow(starts)
    x, y = grid.xy(*np.divmod(cells, grid.cols))
    way, _ = follow(on[[np.argmin(levels[on])]])
    points = np.column_stack(grid.xy(*np.divmod(way, grid.cols)))
    if len(points) < 2:
        points = np.vstack([points, points + np.array([grid.cell_m, 0.0])])
    return FailureWay(
        shapely.LineString(points).simplify(grid.cell_m / 2),
        x,
        y,
        levels[cells].astype(np.float64),
        far_m,
        DEPTH_SHARE * height_m,
    )


def _lowest_m(shape: BaseGeometry, ground: Elevation, grid: Grid) -> float:
    """Lowest ground at the corners and along the edge of a shape [m]; -inf off the data."""
    points = shapely.get_coordinates(shapely.segmentize(shape, grid.cell_m))
    row, col = grid.cell(points[:, 0], points[:, 1])
    on = grid.holds(row, col)
    levels = ground[row[on], col[on]]
    return float(np.nanmin(levels)) if np.isfinite(levels).any() else -math.inf
