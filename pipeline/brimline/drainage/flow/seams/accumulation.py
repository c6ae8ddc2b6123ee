"""Accumulation tile by tile: cells counted in each, and passed on from ring to ring.

References
----------
Barnes (2017), Parallel non-divergent flow accumulation for trillion cell digital elevation models
on desktops or clusters, doi:10.1016/j.envsoft.2017.02.022
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.flow.accumulation import accumulate
from brimline.drainage.flow.seams import _kernels
from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET
from brimline.grid.tiles import Tiling, Window, ring_cells

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Accumulation, Directions


@dataclass(frozen=True, slots=True)
class TileLinks:
    """How water passes through a tile.

    Parameters
    ----------
    codes : uint8 (ring,); directions of the ring's cells.
    own_cells : int64 (ring,)
        Cells of the tile that drain through each ring cell that water leaves the tile by; 0 at
        others.
    leads_to : int32 (ring,)
        Place in the ring, from 1, by which the water of each ring cell leaves; 0 where it stays.
    """

    codes: NDArray[np.uint8]
    own_cells: NDArray[np.int64]
    leads_to: NDArray[np.int32]


def closed(codes: Directions) -> tuple[Directions, NDArray[np.int64]]:
    """Make the codes that lead out of a tile into outlets; also return these cells."""
    rows, cols = codes.shape
    ring = ring_cells(Window(0, 0, rows, cols))
    row, col = np.divmod(ring, cols)
    to = codes.ravel()[ring]
    inner = to < OUTLET
    r, c = row[inner] + D_ROW[to[inner]], col[inner] + D_COL[to[inner]]
    out = ring[inner][(r < 0) | (c < 0) | (r >= rows) | (c >= cols)]
    within = codes.copy()
    within.ravel()[out] = OUTLET
    return within, out


def tile_links(codes: Directions) -> tuple[TileLinks, NDArray[np.uint32]]:
    """Reduce a tile to what its ring cells gather and where they lead.

    Parameters
    ----------
    codes : uint8 (rows, cols); directions, which may lead out of the tile.

    Returns
    -------
    links
    own_cells : uint32 (rows, cols)
        Cells of the tile that drain through each cell; 0 at nodata.
    """
    within, out = closed(codes)
    ring = ring_cells(Window(0, 0, *codes.shape))
    ends = np.zeros(codes.shape, dtype=np.int32)
    place = np.searchsorted(ring, out)
    ends.ravel()[out] = place + 1
    leads_to = _kernels.exits(within, ends, ring, np.zeros(codes.shape, dtype=np.int32))
    own = np.zeros(ring.size, dtype=np.int64)
    cells = np.nan_to_num(accumulate(within), copy=False).astype(np.uint32)
    own[place] = cells.ravel()[out]
    return TileLinks(codes.ravel()[ring], own, leads_to), cells


def receivers(tiling: Tiling, codes: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Place in all rings of the cell that each ring cell leads to beyond its tile; -1 for none."""
    cells = [
        tiling.linear(tiling.window(tile), ring_cells(tiling.window(tile)))
        for tile in range(len(tiling))
    ]
    row, col = np.divmod(np.concatenate(cells), tiling.cols)
    to = np.where(codes < OUTLET, codes, 0)
    r, c = row + D_ROW[to], col + D_COL[to]
    inside = (codes < OUTLET) & (r >= 0) & (c >= 0) & (r < tiling.rows) & (c < tiling.cols)
    inside[inside] = tiling.owners(r[inside], c[inside]) != tiling.owners(row[inside], col[inside])
    entry = np.full(codes.size, -1, dtype=np.int64)
    entry[inside] = tiling.ring_places(r[inside], c[inside])
    return entry


def places_led_to(tiling: Tiling, leads_to: Sequence[NDArray[np.int32]]) -> NDArray[np.int64]:
    """Place in all rings by which the water of each ring cell leaves its tile; -1 for none."""
    return np.concatenate(
        [
            np.where(led > 0, led.astype(np.int64) - 1 + start, -1)
            for led, start in zip(leads_to, tiling.ring_starts[:-1].tolist(), strict=True)
        ]
    )


def solve_inflows(tiling: Tiling, tiles: Sequence[TileLinks]) -> list[NDArray[np.int64]]:
    """Count the cells of other tiles that drain into each ring cell of each tile.

    Raises
    ------
    GridError
        If the directions run in a circle.
    """
    entry = receivers(tiling, np.concatenate([tile.codes for tile in tiles]))
    leads = places_led_to(tiling, [tile.leads_to for tile in tiles])
    below = np.where(entry >= 0, leads[entry], -1)
    own = np.concatenate([tile.own_cells for tile in tiles])
    inflow, settled = _kernels.relay(below, entry, own)
    if settled < np.count_nonzero(entry >= 0):
        raise GridError("directions run in a circle: not every cell reaches an outlet")
    return np.split(inflow, tiling.ring_starts[1:-1])


def entering(
    codes: Directions, area: Accumulation, inner: Window, around: Window
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Tell where water enters a block of a grid from outside it, and from how much ground.

    With these as inflow the block alone accumulates to what the whole grid does there.

    Parameters
    ----------
    codes : uint8 (rows, cols); directions of `around`.
    area : float64 (rows, cols); what drains through each cell of `around`, in cells or [m²].
    inner : the block.
    around : the block and the cells beside it, as far as the grid goes.

    Returns
    -------
    cells : int64 (entries,)
        Linear indices in `inner`, ascending, each once.
    entering : float64 (entries,)
        In the unit of `area`.
    """
    outside = np.ones(codes.shape, dtype=np.bool_)
    outside[inner.inside(around)] = False
    row, col = np.nonzero(outside & (codes < OUTLET))
    to = codes[row, col]
    r = row + D_ROW[to] + around.row - inner.row
    c = col + D_COL[to] + around.col - inner.col
    within = (r >= 0) & (c >= 0) & (r < inner.rows) & (c < inner.cols)
    cells, which = np.unique(r[within] * inner.cols + c[within], return_inverse=True)
    entered = np.zeros(cells.size)
    np.add.at(entered, which, area[row[within], col[within]])
    return cells, entered


def accumulate_tile(
    codes: Directions, own_cells: NDArray[np.uint32], inflow: NDArray[np.int64]
) -> Accumulation:
    """Count what drains through each cell of a tile, inflow included.

    Only the cells below an inflow are gone through again.

    Parameters
    ----------
    codes : uint8 (rows, cols); directions, which may lead out of the tile.
    own_cells : uint32 (rows, cols); of `tile_links`.
    inflow : int64 (ring,); of `solve_inflows`.

    Returns
    -------
    float64 (rows, cols); cells, NaN at nodata.
    """
    within, _ = closed(codes)
    total: Accumulation = np.where(codes == NO_DATA, np.nan, own_cells)
    entered = np.flatnonzero(inflow)
    ring = ring_cells(Window(0, 0, *codes.shape))
    _kernels.pass_on(within, ring[entered], inflow[entered], total)
    return total
