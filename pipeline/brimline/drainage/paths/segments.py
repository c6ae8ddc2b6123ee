"""Drawing flow paths where enough ground has gathered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.drainage.flow.directions import checked_directions, counted_donors
from brimline.drainage.paths import _kernels
from brimline.errors import GridError
from brimline.grid import OUTLET, STEP, checked_elevation, checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Accumulation, Directions, Elevation, Grid


@dataclass(frozen=True, slots=True)
class FlowPaths:
    """Flow paths from joint to joint, numbered from 1 in the raster order of their first cells.

    Parameters
    ----------
    downstream_ids : int32 (paths,)
        The path that each runs into; 0 where it leaves the data or ends in a kept sink.
    order : int32 (paths,)
        Stream order by Strahler.
    area_m2 : float64 (paths,) [m²]
        Contributing area at the lower end, above the joint.
    length_m, fall_m : float64 (paths,) [m]
        Along the drawn line, and from its first cell to its last on the surface.
    starts : int64 (paths + 1,)
        Where the cells of each path begin in `cells`.
    cells : int64
        Linear indices downstream; a path ends on the first cell of the one that it runs into.
    lines : shapely LineStrings (paths,)
        Through cell centres, drawn downstream.
    """

    downstream_ids: NDArray[np.int32]
    order: NDArray[np.int32]
    area_m2: NDArray[np.float64]
    length_m: NDArray[np.float64]
    fall_m: NDArray[np.float64]
    starts: NDArray[np.int64]
    cells: NDArray[np.int64]
    lines: NDArray[np.object_]

    @property
    def fall_pct(self) -> NDArray[np.float64]:
        """Mean fall along the line [%]."""
        return 100.0 * self.fall_m / self.length_m

    def over(
        self, depth_m: NDArray[np.float32], deeper_m: float, *, cell_m: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Length of each path on cells deeper than a limit, and the deepest that it meets [m].

        A step counts by half at either end, so that lengths sum to those of the lines.

        Parameters
        ----------
        depth_m : float32 (rows, cols) [m]
        """
        depth = depth_m.ravel()[self.cells].astype(np.float64)
        count = self.starts.size - 1
        number = np.repeat(np.arange(count), np.diff(self.starts))
        row, col = np.divmod(self.cells, depth_m.shape[1])
        steps = cell_m * np.hypot(np.diff(row), np.diff(col))
        steps[number[1:] != number[:-1]] = 0.0
        deep = (depth > deeper_m).astype(np.float64)
        length = np.zeros(count)
        np.add.at(length, number[:-1], 0.5 * steps * (deep[1:] + deep[:-1]))
        deepest = np.zeros(count)
        np.maximum.at(deepest, number, depth)
        return length, deepest

    def cells_of(self, path_id: int) -> NDArray[np.int64]:
        """Linear indices of a path's cells, downstream."""
        return self.cells[self.starts[path_id - 1] : self.starts[path_id]]


def flow_paths(
    directions: Directions,
    area_m2: Accumulation,
    surface: Elevation,
    grid: Grid,
    *,
    min_area_m2: float,
) -> FlowPaths:
    """Draw the flow paths whose contributing area is at least `min_area_m2`.

    A path begins at a head (no cell above it belongs to a flow path) or at a joint (two or more
    do), and runs to the next joint or to the outlet, the last cell included, so that lines meet.
    A path of a single cell, which only an outlet can be, is not drawn; paths that meet at an
    outlet have no path below.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    area_m2 : float64 (rows, cols) [m²]; contributing area, NaN at nodata.
    surface : float32 (rows, cols) [m]; the conditioned surface, on which falls are measured.
    grid : where the cells are.
    min_area_m2 : contributing area from which a path is drawn [m²].

    Raises
    ------
    ValueError
        If `min_area_m2` is not above 0.
    GridError
        If the shapes differ, or the area shrinks downstream.

    References
    ----------
    Strahler (1957), Quantitative analysis of watershed geomorphology,
    doi:10.1029/TR038i006p00913; O'Callaghan & Mark (1984), doi:10.1016/S0734-189X(84)80011-0
    (a threshold on the contributing area)
    """
    if not min_area_m2 > 0:
        raise ValueError(f"min_area_m2 must be above 0 m², got {min_area_m2} m²")
    shape = checked_same_shape(directions=directions, area_m2=area_m2, surface=surface)
    if shape != grid.shape:
        raise GridError(f"the grid has shape {grid.shape}, the arrays {shape}")
    codes = checked_directions(directions)
    counted_donors(codes)  # refuses codes that lead out of the data
    starts, cells, at_joint = _traced(codes, area_m2 >= min_area_m2)
    level = checked_elevation(surface, "surface")
    return _measured(starts, cells, at_joint, codes, area_m2, level, grid)


def _traced(
    codes: Directions, channel: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """List the cells of every path longer than one cell, and which paths end at a joint."""
    listed = np.flatnonzero(channel)
    donors = np.zeros(codes.shape, dtype=np.uint8)
    wrong = int(_kernels.channel_donors(codes, channel, listed, donors))
    if wrong >= 0:
        row, col = divmod(wrong, codes.shape[1])
        raise GridError(
            f"the contributing area falls below the threshold downstream of row {row}, column "
            f"{col}; it must come from the same directions"
        )
    count = donors.ravel()[listed]
    heads = listed[(count != 1) & (codes.ravel()[listed] != OUTLET)]
    starts = np.empty(heads.size + 1, dtype=np.int64)
    _kernels.trace(codes, donors, heads, starts, np.empty(0, dtype=np.int64))
    cells = np.empty(starts[-1], dtype=np.int64)
    _kernels.trace(codes, donors, heads, starts, cells)
    return starts, cells, donors.ravel()[cells[starts[1:] - 1]] > 1


def _measured(
    starts: NDArray[np.int64],
    cells: NDArray[np.int64],
    at_joint: NDArray[np.bool_],
    codes: Directions,
    area_m2: Accumulation,
    surface: Elevation,
    grid: Grid,
) -> FlowPaths:
    first, last = cells[starts[:-1]], cells[starts[1:] - 1]
    before_last = cells[starts[1:] - 2]
    below = _positions_of(last, first)
    area = area_m2.ravel()
    steps = STEP[codes.ravel()[cells] & 7]
    steps[starts[1:] - 1] = 0.0
    level = surface.ravel().astype(np.float64)
    x, y = grid.xy(*np.divmod(cells, grid.cols))
    number = np.repeat(np.arange(first.size), np.diff(starts))
    return FlowPaths(
        downstream_ids=(below + 1).astype(np.int32),
        order=_kernels.strahler(below, np.argsort(area[before_last], kind="stable")),
        area_m2=area[np.where(at_joint, before_last, last)].astype(np.float64),
        length_m=np.float64(grid.cell_m) * np.bincount(number, weights=steps, minlength=first.size),
        fall_m=level[first] - level[last],
        starts=starts,
        cells=cells,
        lines=np.asarray(shapely.linestrings(np.column_stack((x, y)), indices=number)),
    )


def _positions_of(wanted: NDArray[np.int64], among: NDArray[np.int64]) -> NDArray[np.int64]:
    """Position of each value in the ascending array `among`; -1 where it is not in it."""
    place = np.searchsorted(among, wanted)
    place[place == among.size] = 0
    found = among[place] == wanted if among.size else np.zeros(wanted.shape, dtype=np.bool_)
    return np.where(found, place, -1)
