"""Contours as lines, exact or with few vertices."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.contours import _kernels
from brimline.lines.contours.levels import contour_levels
from brimline.lines.sample import checked_on_grid

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid

_MOVED_CELLS = 0.05  # that leaving out vertices may move a drawn contour
_MOVED_GAP = 0.4  # of the least gap between two levels, for the same
_EVERY = -1.0  # in place of a distance: leave no vertex out


def contours(
    dem: Elevation, grid: Grid, levels_m: Sequence[float] | NDArray[np.float64]
) -> list[shapely.MultiLineString]:
    """Trace lines of equal level on the bilinear surface through the cell centres.

    Each line is directed with the higher ground on its right; lines end only at the edge of the
    data. Repeated vertices are left out.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Smooth it first for drawing.
    levels_m : levels to trace [m].

    Returns
    -------
    One MultiLineString for each level, in the order of `levels_m`; empty where there is none.

    Raises
    ------
    GridError
        If `dem` is no elevation array on `grid`.
    """
    surface = checked_on_grid(dem, grid)
    wanted = np.asarray(levels_m, dtype=np.float64).ravel()
    levels, place = np.unique(wanted, return_inverse=True)
    lines, level = _traced(surface, grid, levels)
    return list(_by_level(lines, level, len(levels))[place])


def drawn_contours(
    dem: Elevation,
    grid: Grid,
    interval_m: float,
    *,
    least_ring_m: float = 0.0,
) -> tuple[NDArray[np.float64], list[shapely.MultiLineString]]:
    """Trace contours for drawing: few vertices, and no rings as small as the survey's noise.

    Leaving out vertices moves a line by at most a twentieth of a cell, and by less where the
    steepest ground brings two levels close together: contours never come to cross.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Smooth it first.
    interval_m : height between contours [m].
    least_ring_m : closed contours shorter than this are left out [m].

    Returns
    -------
    levels : float64 (levels,) [m], those of which something is drawn.
    lines : one MultiLineString for each.

    Raises
    ------
    GridError
        If `dem` is no elevation array on `grid`.
    ValueError
        If `interval_m` is not positive.
    """
    surface = checked_on_grid(dem, grid)
    levels = contour_levels(surface, interval_m)
    most = _MOVED_CELLS * grid.cell_m
    tolerance_m = min(most, _MOVED_GAP * interval_m / max(_steepest(surface, grid.cell_m), 1e-9))
    lines, level = _traced(surface, grid, levels, least_ring_m, tolerance_m)
    spoilt = np.flatnonzero(~shapely.is_simple(lines))
    if spoilt.size:
        exact, _ = _traced(surface, grid, levels, least_ring_m)
        lines[spoilt] = exact[spoilt]
    some = np.unique(level)
    return levels[some], list(_by_level(lines, level, len(levels))[some])


def _traced(
    surface: Elevation,
    grid: Grid,
    levels_m: NDArray[np.float64],
    least_ring_m: float = 0.0,
    tolerance_m: float = _EVERY,
) -> tuple[NDArray[Any], NDArray[np.int32]]:
    """LineStrings of rising levels, the lowest first, and the place of each one's level."""
    limits = levels_m.astype(np.float32)
    limits = np.where(limits > levels_m, np.nextafter(limits, np.float32(-np.inf)), limits)
    count = _kernels.number(surface, limits)
    place, level = np.empty((count, 2)), np.empty(count, dtype=np.int32)
    ahead, ended = np.full(count, -1, dtype=np.int64), np.zeros(count, dtype=np.bool_)
    _kernels.link(surface, levels_m, limits, place, level, ahead, ended)
    points, start, level = _kernels.follow(
        place, level, ahead, ended, least_ring_m / grid.cell_m, tolerance_m / grid.cell_m
    )
    del place, ahead, ended
    index = np.repeat(np.arange(len(level)), np.diff(start))
    lines = shapely.linestrings(*grid.xy(points[:, 1], points[:, 0]), indices=index)
    order = np.argsort(level, kind="stable")
    return np.asarray(lines)[order], level[order]


def _by_level(lines: NDArray[Any], level: NDArray[np.int32], count: int) -> NDArray[Any]:
    """Lines gathered by level, one MultiLineString each."""
    gathered = np.full(count, shapely.MultiLineString(), dtype=object)
    if len(lines):
        shapely.multilinestrings(lines, indices=level, out=gathered)
    return gathered


def _steepest(dem: Elevation, cell_m: float) -> float:
    """Largest rise of the bilinear surface [m/m], or a little more."""
    across = np.nanmax(np.abs(np.diff(dem, axis=1)), initial=0.0)
    down = np.nanmax(np.abs(np.diff(dem, axis=0)), initial=0.0)
    return float(np.hypot(across, down)) / cell_m
