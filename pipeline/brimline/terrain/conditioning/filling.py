"""Raising every hollow to its spill level."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.grid import checked_elevation, checked_same_shape
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
    labels, spill = _basins(level, codes)
    side_by_side(
        [partial(_kernels.raise_to, level, labels, spill, *band) for band in bands(level.shape[0])]
    )
    return labels.view(np.float32)


def _basins(
    level: Elevation, codes: NDArray[np.uint8]
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Label of every cell, and the level at which each label's basin spills."""
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
    spill: NDArray[np.float32] = _kernels.spill_levels(basins, one, other, at)[root]
    return labels, spill
