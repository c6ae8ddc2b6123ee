"""Filling a survey tile by tile, equal to the last bit to filling it whole.

The filled level of a cell is the lowest level at which a way leads from it to where water leaves.
A way within a tile is told by the tile's graph of basins; a way out of it passes cells of the
tile's ring. So each tile is reduced to the levels at which its ring cells are joined through it
(a tree: one edge fewer than cells), all trees and the steps across seams together give the level
at which water leaves from each ring cell, and with these as outlets a tile fills on its own.
Every level is copied from the ground, none computed, so that no rounding can part the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.grid import D_COL, D_ROW
from brimline.grid.tiles import Tiling, Window, ring_cells
from brimline.terrain.conditioning import _kernels as fill_kernels
from brimline.terrain.conditioning.seams import _kernels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation

_PLACE_OUTSIDE = 0


@dataclass(frozen=True, slots=True)
class TileSpills:
    """How the ring cells of a tile are joined through it.

    Parameters
    ----------
    level_m : float32 (ring,) [m]; minus infinity at nodata.
    leaves : bool (ring,); True where water leaves the survey or ends in a kept sink.
    one, other : int32 (edges,)
        Places in the ring, from 1; 0 is everything that leaves.
    at_m : float32 (edges,) [m]
    """

    level_m: NDArray[np.float32]
    leaves: NDArray[np.bool_]
    one: NDArray[np.int32]
    other: NDArray[np.int32]
    at_m: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Basins:
    """The basin graph of a tile: ring cells are basins of their own or let water out."""

    level: Elevation
    labels: NDArray[np.int32]
    root: NDArray[np.int32]
    one: NDArray[np.int32]
    other: NDArray[np.int32]
    at: NDArray[np.float32]
    ring: NDArray[np.int64]
    leaves: NDArray[np.bool_]


def tile_spills(ground: Elevation, at: Window, whole: Window, sinks: BoolGrid | None) -> TileSpills:
    """Reduce a tile to the levels at which its ring cells are joined.

    Parameters
    ----------
    ground : float32 (rows, cols) [m]; the tile alone; no number at nodata.
    at, whole : where the tile lies, and the whole grid.
    sinks : bool (rows, cols) or None; kept sinks.
    """
    basins = _basins(ground, at, whole, sinks)
    place_of = np.full(basins.root.size, -1, dtype=np.int32)
    own = np.flatnonzero(~basins.leaves)
    place_of[basins.root[basins.labels.ravel()[basins.ring[own]]]] = own + 1
    place_of[fill_kernels.OUTSIDE] = _PLACE_OUTSIDE
    order = np.argsort(basins.at, kind="stable")
    one, other, level = _kernels.contracted(place_of, basins.one, basins.other, basins.at, order)
    return TileSpills(basins.level.ravel()[basins.ring], basins.leaves, one, other, level)


def solve_spills(tiling: Tiling, tiles: Sequence[TileSpills]) -> list[NDArray[np.float32]]:
    """Level at which water leaves from each ring cell of each tile.

    Parameters
    ----------
    tiles : one a tile.

    Returns
    -------
    float32 (ring,) [m] for each tile; minus infinity where water leaves at the cell itself.
    """
    starts = tiling.ring_starts
    level = np.concatenate([tile.level_m for tile in tiles])
    leaves = np.concatenate([tile.leaves for tile in tiles])
    node = np.where(leaves, 0, np.arange(1, level.size + 1)).astype(np.int32)
    ones, others, ats = [], [], []
    for number, tile in enumerate(tiles):
        places = np.concatenate(([0], node[starts[number] : starts[number + 1]])).astype(np.int32)
        ones.append(places[tile.one])
        others.append(places[tile.other])
        ats.append(tile.at_m)
    for here, there in seam_pairs(tiling):
        ones.append(node[here])
        others.append(node[there])
        ats.append(np.maximum(level[here], level[there]))
    spill = fill_kernels.spill_levels(
        level.size + 1, np.concatenate(ones), np.concatenate(others), np.concatenate(ats)
    )[node]
    return np.split(spill, starts[1:-1])


def seam_pairs(tiling: Tiling) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Places of ring cells that touch across a seam, each pair once, in four lots."""
    cells = [
        tiling.linear(tiling.window(tile), ring_cells(tiling.window(tile)))
        for tile in range(len(tiling))
    ]
    row, col = np.divmod(np.concatenate(cells), tiling.cols)
    owner = tiling.owners(row, col)
    pairs = []
    for k in (0, 5, 6, 7):
        r, c = row + D_ROW[k], col + D_COL[k]
        across = np.flatnonzero((r < tiling.rows) & (c >= 0) & (c < tiling.cols))
        across = across[tiling.owners(r[across], c[across]) != owner[across]]
        pairs.append((across, tiling.ring_places(r[across], c[across])))
    return pairs


def fill_tile(
    ground: Elevation,
    at: Window,
    whole: Window,
    sinks: BoolGrid | None,
    spill_m: NDArray[np.float32],
) -> Elevation:
    """Fill a tile whose ring cells let water out at the given levels.

    Parameters
    ----------
    ground, at, whole, sinks : as in `tile_spills`.
    spill_m : float32 (ring,) [m]; of `solve_spills`.

    Returns
    -------
    float32 (rows, cols) [m]; NaN at nodata.
    """
    basins = _basins(ground, at, whole, sinks)
    own = ~basins.leaves
    label = basins.root[basins.labels.ravel()[basins.ring[own]]]
    spill = fill_kernels.spill_levels(
        basins.root.size,
        np.concatenate((basins.one, label)),
        np.concatenate((basins.other, np.zeros_like(label))),
        np.concatenate((basins.at, spill_m[own])),
    )[basins.root]
    fill_kernels.raise_to(basins.level, basins.labels, spill, 0, at.rows)
    return basins.labels.view(np.float32)


def _basins(ground: Elevation, at: Window, whole: Window, sinks: BoolGrid | None) -> _Basins:
    nodata = ~np.isfinite(ground)
    level = np.where(nodata, np.float32(-np.inf), ground) if nodata.any() else ground
    level = np.ascontiguousarray(level)
    level.flags.writeable = False
    codes = np.full(at.shape, fill_kernels.PIT, dtype=np.uint8)
    if min(at.shape) > 2:
        fill_kernels.relate(level, codes, 0, at.rows)
    codes[_on_edge(at, whole)] = fill_kernels.OUT
    if sinks is not None:
        codes[sinks & ~nodata] = fill_kernels.OUT
    pits, saddles, exits = fill_kernels.count(codes, 0, at.rows)
    labels = np.empty(at.shape, dtype=np.int32)
    beyond = np.empty(1 + pits + exits, dtype=np.int64)
    count = fill_kernels.label(codes, 0, at.rows, 1, labels, beyond)
    root = fill_kernels.join_bands(labels, beyond, count)
    ring = ring_cells(at)
    leaves = codes.ravel()[ring] == fill_kernels.OUT
    edges = [
        fill_kernels.passes(level, codes, labels, root, 0, at.rows, saddles),
        fill_kernels.rim_passes(level, labels, root, np.flatnonzero(codes == fill_kernels.OUT)),
        _kernels.ring_passes(level, labels, root, ring[~leaves]),
    ]
    one, other, levels = (np.concatenate(column) for column in zip(*edges, strict=True))
    return _Basins(level, labels, root, one, other, levels, ring, leaves)


def _on_edge(at: Window, whole: Window) -> BoolGrid:
    """Cells of a tile that lie on the edge of the whole grid."""
    edge = np.zeros(at.shape, dtype=np.bool_)
    edge[0] |= at.row == 0
    edge[-1] |= at.row + at.rows == whole.rows
    edge[:, 0] |= at.col == 0
    edge[:, -1] |= at.col + at.cols == whole.cols
    return edge
