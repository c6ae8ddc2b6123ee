"""The network of valleys, or of ridges, at the scale of the landform rather than of the cell.

On a smooth valley water gathers over the width of the floor and not in one cell; on a rough one it
runs in many threads. Both are one valley. So the network is sought on a surface of cells as wide as
a floor, and only afterwards is its exact place read from the survey. And in a shallow valley on a
steep hillside water runs far before it comes to the floor; so part of the general slope is taken
off before, which leaves every floor where it is and brings the water to it sooner.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.drainage.flow import accumulate, upstream_order
from brimline.grid import Grid, checked_elevation
from brimline.lines.relief import _kernels
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation

_FLOORS_IN_FLANK = 3  # a floor is taken to be so much narrower than the flank beside it
_TREND_FLANKS = 4.0  # standard deviation of the smoothing that leaves the general slope, in flanks
_TREND_SHARE = 0.4  # of the general slope that is taken off


@dataclass(frozen=True, slots=True, eq=False)
class StemNetwork:
    """Stems: the main course of each valley, from its mouth up to the divide.

    Parameters
    ----------
    grid : the wide cells on which the stems were sought.
    cells : for each stem the linear indices of its cells, from the divide down to its mouth.
    head : for each stem the place in `cells` where enough ground has gathered.
    joins : for each stem the index of the stem that it runs into; -1 where it runs out. A stem
        comes after the one that it joins.
    area_m2 : float64 (rows, cols); ground that gathers in each cell [m²].
    trend : float32 (rows, cols); the general slope: the surface smoothed over the landform [m].
    """

    grid: Grid
    cells: tuple[NDArray[np.int64], ...]
    head: NDArray[np.int64]
    joins: NDArray[np.int32]
    area_m2: NDArray[np.float64]
    trend: Elevation


def find_network(
    surface: Elevation,
    grid: Grid,
    *,
    flank_m: float,
    min_area_m2: float,
    upside_down: bool = False,
) -> StemNetwork:
    """Follow each valley of a surface from its mouth up its main donor to the divide.

    At a joint the donor that brings the most ground goes on and the others end; of donors that
    bring at least half as much, the lowest, which lies nearest to the floor where many threads meet
    in a valley head. Hollows are passed through (`through_directions`).

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        The survey, smoothed.
    grid : where its cells are.
    flank_m : distance over which valley sides are judged [m]; floors are a third of it.
    min_area_m2 : ground that must gather before a stem begins [m²].
    upside_down : follow the ridges instead, as valleys of the surface turned upside down.

    Raises
    ------
    GridError
        If `surface` is not a 2-D float array with a finite cell.
    ValueError
        If `flank_m` or `min_area_m2` is not above 0.
    """
    levels = checked_elevation(surface, "surface")
    if not min_area_m2 > 0 or not flank_m > 0:
        raise ValueError(
            f"min_area_m2 and flank_m must be above 0, got {min_area_m2} m² and {flank_m} m"
        )
    factor = max(1, round(flank_m / _FLOORS_IN_FLANK / grid.cell_m))
    wide, wide_grid = coarser(levels, grid, factor)
    wide = -wide if upside_down else wide
    trend = smoothed(wide, cell_m=wide_grid.cell_m, sigma_m=_TREND_FLANKS * flank_m)
    directions = through_directions(wide - np.float32(_TREND_SHARE) * trend)
    area_m2 = accumulate(directions) * wide_grid.cell_area_m2
    order = upstream_order(directions)
    cells, starts, network, joins = _kernels.stems(
        directions, area_m2, wide, order, float(min_area_m2)
    )
    return StemNetwork(
        grid=wide_grid,
        cells=tuple(cells[a:b][::-1] for a, b in pairwise(starts)),
        head=np.diff(starts) - network,
        joins=joins,
        area_m2=area_m2,
        trend=trend,
    )


def strahler_orders(
    joins: Sequence[tuple[int, float]], *, up_to: int = 0
) -> list[tuple[int, float]]:
    """Strahler order of each line at its lower end, and where it passes an order on the way.

    Parameters
    ----------
    joins : for each line the index of the line that it joins, -1 for none, and the chainage on
        that line at which it does [m].

    Returns
    -------
    For each line its order, and the chainage at which it first exceeds `up_to`; infinite where it
    does not.

    References
    ----------
    Strahler (1957), Quantitative analysis of watershed geomorphology,
    doi:10.1029/TR038i006p00913
    """
    tributaries: dict[int, list[tuple[float, int]]] = {}
    for line, (into, at_m) in enumerate(joins):
        tributaries.setdefault(into, []).append((at_m, line))
    ranks = [(0, np.inf)] * len(joins)

    def settle(line: int) -> int:
        order, upper_m = 1, np.inf
        for at_m, other in sorted(tributaries.get(line, [])):
            brought = settle(other)
            order = order + 1 if brought == order else max(order, brought)
            if order > up_to:
                upper_m = min(upper_m, at_m)
        ranks[line] = order, upper_m
        return order

    for _, line in tributaries.get(-1, []):
        settle(line)
    return ranks


def coarser(surface: Elevation, grid: Grid, factor: int) -> tuple[Elevation, Grid]:
    """Mean level over blocks of `factor` × `factor` cells; NaN where less than half is known.

    Where there is no block with half of it known, a single known cell is enough.
    """
    if factor == 1:
        return surface, grid
    rows, cols = -(-grid.rows // factor), -(-grid.cols // factor)
    wide = Grid(rows, cols, grid.cell_m * factor, grid.west_m, grid.north_m, grid.crs)
    total, count = _kernels.block_sums(surface, factor)
    enough = 2 * count >= factor * factor
    if not enough.any():
        enough = count > 0
    mean = np.where(enough, total / np.maximum(count, 1), np.nan)
    return mean.astype(np.float32), wide


def through_directions(surface: Elevation) -> Directions:
    """Send each cell's water down its steepest way, and out of each pit along the lowest trough.

    Of the two neighbours beside the steepest fall that one receives which keeps the path from the
    greatest donor nearest to the true descent, so that lines follow the ground and not the eight
    directions of the grid.

    The surface is not changed: from a pit the way leads over its lowest saddle along the cells by
    which a flood from outside would have reached it, until ground lower than the pit. So a line
    through a hollow follows the hollow's own shape, where a filled surface is flat and a line on it
    follows nothing.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata. Not modified.

    Returns
    -------
    uint8 (rows, cols); codes of `brimline.grid.neighbours`; outlets only at the rim of the data.

    Raises
    ------
    GridError
        If `surface` is not a 2-D float array with a finite cell.

    References
    ----------
    Orlandini, Moretti, Franchini, Aldighieri & Testa (2003), Path-based methods for the
    determination of nondispersive drainage directions in grid-based digital elevation models,
    doi:10.1029/2002WR001639 (least transversal deviation, with full memory);
    Tarboton (1997), doi:10.1029/96WR03137 (the facets);
    Barnes, Lehman & Mulla (2014), Priority-flood, algorithm 4, doi:10.1016/j.cageo.2013.04.024
    (the flood); Soille, Vogt & Colombo (2003), Carving and adaptive drainage enforcement of grid
    digital elevation models, doi:10.1029/2002WR001879 (ways out along the flood)
    """
    levels = checked_elevation(surface, "surface")
    known = np.isfinite(levels)
    inner = ndimage.minimum_filter(known, 3, mode="constant", cval=False)
    flat, cells = levels.ravel(), np.flatnonzero(known)
    downwards = cells[np.argsort(-flat[cells], kind="stable")]
    rim = np.flatnonzero(known & ~inner)
    directions: Directions = _kernels.through_directions(levels, downwards, rim)
    return directions
