"""Drawing flow paths where enough ground has gathered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.drainage.flow.directions import checked_directions, counted_donors
from brimline.drainage.paths import _kernels
from brimline.errors import GridError
from brimline.grid import (
    D_COL,
    D_ROW,
    OUTLET,
    STEP,
    checked_elevation,
    checked_same_shape,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Accumulation, Directions, Elevation, Grid


@dataclass(frozen=True, slots=True)
class ChannelCells:
    """Cells that gather enough ground for a flow path.

    Parameters
    ----------
    cells : int64 (cells,); linear indices, ascending.
    codes : uint8 (cells,); directions.
    area_m2 : float64 (cells,) [m²]; contributing area.
    level_m, fill_m : float32 (cells,) [m]
        On the conditioned surface, and how far that lies over the ground.
    """

    cells: NDArray[np.int64]
    codes: NDArray[np.uint8]
    area_m2: NDArray[np.float64]
    level_m: NDArray[np.float32]
    fill_m: NDArray[np.float32]


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
        return self.over_cells(
            depth_m.ravel()[self.cells], deeper_m, cols=depth_m.shape[1], cell_m=cell_m
        )

    def over_cells(
        self, depth_m: NDArray[np.float32], deeper_m: float, *, cols: int, cell_m: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the same from the depth at each of `cells`, of a grid of so many columns."""
        depth = depth_m.astype(np.float64)
        count = self.starts.size - 1
        number = np.repeat(np.arange(count), np.diff(self.starts))
        row, col = np.divmod(self.cells, cols)
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
    level = checked_elevation(surface, "surface")
    return paths_along(channel_cells(codes, area_m2, level, min_area_m2=min_area_m2), grid)


def channel_cells(
    directions: Directions,
    area_m2: Accumulation,
    surface: Elevation,
    ground: Elevation | None = None,
    *,
    min_area_m2: float,
) -> ChannelCells:
    """List the cells of a grid, or of a tile of one, whose contributing area is large enough.

    Parameters
    ----------
    ground : float32 (rows, cols) [m]; beneath the conditioned surface; None where fill is not
        asked for.
    """
    cells = np.flatnonzero(area_m2 >= min_area_m2)
    level = surface.ravel()[cells]
    fill = np.zeros_like(level) if ground is None else level - ground.ravel()[cells]
    return ChannelCells(cells, directions.ravel()[cells], area_m2.ravel()[cells], level, fill)


def joined_cells(parts: Sequence[ChannelCells]) -> ChannelCells:
    """Put the cells of tiles together, which are numbered on the whole grid."""
    columns = [
        np.concatenate([getattr(part, name) for part in parts]) for name in ChannelCells.__slots__
    ]
    order = np.argsort(columns[0], kind="stable")
    return ChannelCells(*(column[order] for column in columns))


def paths_along(channels: ChannelCells, grid: Grid) -> FlowPaths:
    """Draw the flow paths that channel cells make, as `flow_paths` does.

    Parameters
    ----------
    channels : all of them, by their place on the grid.

    Raises
    ------
    GridError
        If one leads to a cell that is none.
    """
    cells, codes = channels.cells, channels.codes
    leads = codes < OUTLET
    to = np.where(leads, codes, 0)
    receiver = _positions_of(cells + D_ROW[to] * grid.cols + D_COL[to], cells)
    wrong = np.flatnonzero(leads & (receiver < 0))
    if wrong.size:
        row, col = divmod(int(cells[wrong[0]]), grid.cols)
        raise GridError(
            f"the contributing area falls below the threshold downstream of row {row}, column "
            f"{col}; it must come from the same directions"
        )
    receiver[~leads] = -1
    donors = _kernels.channel_donors(receiver)
    heads = np.flatnonzero((donors != 1) & (codes != OUTLET))
    starts = np.empty(heads.size + 1, dtype=np.int64)
    _kernels.trace(receiver, donors, heads, starts, np.empty(0, dtype=np.int64))
    places = np.empty(starts[-1], dtype=np.int64)
    _kernels.trace(receiver, donors, heads, starts, places)
    first, last = places[starts[:-1]], places[starts[1:] - 1]
    before_last = places[starts[1:] - 2]
    below = _positions_of(last, first)
    steps = STEP[codes[places] & 7]
    steps[starts[1:] - 1] = 0.0
    level = channels.level_m.astype(np.float64)
    x, y = grid.xy(*np.divmod(cells[places], grid.cols))
    number = np.repeat(np.arange(first.size), np.diff(starts))
    area = channels.area_m2
    return FlowPaths(
        downstream_ids=(below + 1).astype(np.int32),
        order=_kernels.strahler(below, np.argsort(area[before_last], kind="stable")),
        area_m2=area[np.where(donors[last] > 1, before_last, last)].astype(np.float64),
        length_m=np.float64(grid.cell_m) * np.bincount(number, weights=steps, minlength=first.size),
        fall_m=level[first] - level[last],
        starts=starts,
        cells=cells[places],
        lines=np.asarray(shapely.linestrings(np.column_stack((x, y)), indices=number)),
    )


def _positions_of(wanted: NDArray[np.int64], among: NDArray[np.int64]) -> NDArray[np.int64]:
    """Position of each value in the ascending array `among`; -1 where it is not in it."""
    place = np.searchsorted(among, wanted)
    place[place == among.size] = 0
    found = among[place] == wanted if among.size else np.zeros(wanted.shape, dtype=np.bool_)
    return np.where(found, place, -1)
