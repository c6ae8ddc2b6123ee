"""Raising every hollow to its spill level."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from brimline._jit import bands, side_by_side
from brimline.grid import D_COL, D_ROW, checked_elevation, checked_same_shape
from brimline.grid.nodata import outside
from brimline.terrain.conditioning import _kernels
from brimline.terrain.conditioning.relations import relations, without_nan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation


def fill(dem: Elevation, *, sinks: BoolGrid | None = None) -> Elevation:
    """Raise every hollow to its spill level.

    Water leaves at the raster's edge, at nodata that is joined to the edge (corners join), and at
    kept sinks. Nodata enclosed by data is unknown ground, not an outlet: it is taken to be as low
    as need be, so that a hollow beside it fills to the level at which the two together spill.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    sinks : bool (rows, cols), optional
        Cells that are kept as sinks: water ends there and the cells are not raised.

    Returns
    -------
    float32 (rows, cols) [m]
        The lowest surface that is nowhere below `dem` and from which every cell drains; NaN where
        `dem` is. Levels are copied, never computed, so they are exact.

    Raises
    ------
    GridError
        If `dem` is not a 2-D float array with a finite cell or `sinks` has another shape.

    References
    ----------
    Barnes, Lehman & Mulla (2014), Priority-flood, doi:10.1016/j.cageo.2013.04.024 (what a fill
    is); Cordonnier, Bovy & Braun (2019), A versatile, linear complexity algorithm for flow
    routing in topographies with depressions, doi:10.5194/esurf-7-549-2019 (the basin graph)
    """
    surface = checked_elevation(dem)
    if sinks is not None:
        checked_same_shape(dem=surface, sinks=sinks)
    level = without_nan(surface)
    codes = relations(level)
    if sinks is not None:
        codes[np.asarray(sinks, dtype=np.bool_) & np.isfinite(level)] = _kernels.OUT
    labels, root, passes = _basins(level, codes)
    return _raised(level, labels, _kernels.spill_levels(len(root), *passes)[root])


def fill_shallow(dem: Elevation, *, depth_m: float) -> tuple[Elevation, BoolGrid] | None:
    """Raise hollows to their spill level, keeping the pits of deep ones as sinks.

    It is `fill` with the pit of each hollow that a first `fill` puts deeper under water than
    `depth_m` as a sink, but the basins are found once.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    depth_m : depth above which a hollow's pits are sinks [m].

    Returns
    -------
    filled : float32 (rows, cols) [m]
    sinks : bool (rows, cols); of a level floor its first cell in raster order.

    None where a deep hollow lies beside enclosed nodata, which has no pit that is known.

    Raises
    ------
    GridError
        As `fill`.
    """
    surface = checked_elevation(dem)
    level = without_nan(surface)
    codes = relations(level)
    labels, root, (one, other, at) = _basins(level, codes)
    spill = _kernels.spill_levels(len(root), one, other, at)[root]
    if level is not surface and _deep_beside_void(surface, labels, spill, depth_m):
        return None
    pits = np.flatnonzero(codes == _kernels.PIT)
    pits = pits[np.isfinite(level.ravel()[pits])]
    deep = pits[spill[labels.ravel()[pits]] - level.ravel()[pits] > np.float32(depth_m)]
    deep = _one_a_floor(deep, root[labels.ravel()[deep]], level.ravel()[deep], one, other, at)
    sunk = root[labels.ravel()[deep]]
    kept = np.arange(len(root), dtype=np.int32)
    kept[sunk] = _kernels.OUTSIDE  # water leaves there
    spill = _kernels.spill_levels(len(root), kept[one], kept[other], at)
    spill[sunk] = -np.inf
    sinks = np.zeros(level.shape, dtype=np.bool_)
    sinks.ravel()[deep] = True
    return _raised(level, labels, spill[root]), sinks


def _one_a_floor(
    pits: NDArray[np.int64],
    basin: NDArray[np.int32],
    floor_m: NDArray[np.float32],
    one: NDArray[np.int32],
    other: NDArray[np.int32],
    at_m: NDArray[np.float32],
) -> NDArray[np.int64]:
    """Keep the first of the pits of each level floor, and none where the floor drains lower."""
    if pits.size == 0:
        return pits
    place = np.full(int(max(one.max(initial=0), other.max(initial=0), basin.max())) + 1, -1)
    place[basin] = np.arange(len(pits))
    between = (place[one] >= 0) & (place[other] >= 0)
    a, b, at = place[one[between]], place[other[between]], at_m[between]
    level = (at == floor_m[a]) & (at == floor_m[b])
    joined = coo_array((level[level], (a[level], b[level])), shape=(len(pits), len(pits)))
    count, floor = connected_components(joined, directed=False)
    drains = np.zeros(count, dtype=np.bool_)
    drains[floor[a[(at == floor_m[a]) & (floor_m[b] < at)]]] = True
    drains[floor[b[(at == floor_m[b]) & (floor_m[a] < at)]]] = True
    first = np.full(count, -1)
    first[floor[::-1]] = np.arange(len(pits))[::-1]  # pits are in raster order
    return np.asarray(pits[np.sort(first[~drains])])


def _deep_beside_void(
    surface: Elevation, labels: NDArray[np.int32], spill: NDArray[np.float32], depth_m: float
) -> bool:
    """Tell whether a cell beside enclosed nodata is deeper under water than `depth_m`."""
    nodata = np.isnan(surface)
    row, col = np.nonzero(nodata & ~outside(nodata))  # never on the raster's edge
    return any(
        bool((spill[labels[r, c]] - surface[r, c] > np.float32(depth_m)).any())  # NaN is not
        for r, c in ((row + D_ROW[k], col + D_COL[k]) for k in range(8))
    )


def _raised(level: Elevation, labels: NDArray[np.int32], spill: NDArray[np.float32]) -> Elevation:
    """Raise each cell to the spill level of its label; the labels become the surface."""
    side_by_side(
        [partial(_kernels.raise_to, level, labels, spill, *band) for band in bands(level.shape[0])]
    )
    return labels.view(np.float32)


def _basins(
    level: Elevation, codes: NDArray[np.uint8]
) -> tuple[
    NDArray[np.int32],
    NDArray[np.int32],
    tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float32]],
]:
    """Label of every cell, the basin of each label, and where basins meet: both, and the level."""
    parts = bands(level.shape[0])
    counts = side_by_side([partial(_kernels.count, codes, *band) for band in parts])
    starts = np.cumsum([1, *(pits + exits for pits, _, exits in counts)])
    basins = int(starts[-1])
    labels = np.empty(level.shape, dtype=np.int32)
    beyond = np.empty(basins, dtype=np.int64)
    side_by_side(
        [
            partial(_kernels.label, codes, *band, start, labels, beyond)
            for band, start in zip(parts, starts[:-1].tolist(), strict=True)
        ]
    )
    root = _kernels.join_bands(labels, beyond, basins)
    edges = side_by_side(
        [
            partial(_kernels.passes, level, codes, labels, root, *band, saddles)
            for band, (_, saddles, _) in zip(parts, counts, strict=True)
        ]
    )
    leaving = np.flatnonzero(codes == _kernels.OUT)
    edges.append(_kernels.rim_passes(level, labels, root, leaving))
    one, other, at = (np.concatenate(column) for column in zip(*edges, strict=True))
    return labels, root, (one, other, at)
