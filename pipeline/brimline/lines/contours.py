"""Contours: lines of equal level, traced exactly on the surface that is given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import contourpy
import numpy as np
import shapely

from brimline.grid import checked_elevation
from brimline.lines.sample import checked_on_grid

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid

_MOVED_CELLS = 0.05  # that leaving out vertices may move a drawn contour
_MOVED_GAP = 0.4  # of the least gap between two levels, for the same
_TILE = 256  # cells; only the levels between a tile's lowest and highest cell are traced in it


def contour_levels(dem: Elevation, interval_m: float) -> NDArray[np.float64]:
    """Levels at whole multiples of an interval, within the surface's range.

    Returns
    -------
    float64 (levels,) [m], rising.

    Raises
    ------
    GridError
        If `dem` is no elevation array.
    ValueError
        If `interval_m` is not positive.
    """
    if not interval_m > 0:
        raise ValueError(f"interval_m must be above 0 m, got {interval_m}")
    surface = checked_elevation(dem)
    first = np.ceil(float(np.nanmin(surface)) / interval_m)
    last = np.floor(float(np.nanmax(surface)) / interval_m)
    return np.asarray(np.arange(first, last + 1) * interval_m)


def is_index(
    levels_m: NDArray[np.float64], interval_m: float, index_every: int
) -> NDArray[np.bool_]:
    """Tell which levels are index contours: every so many intervals, counted from 0 m.

    Raises
    ------
    ValueError
        If `interval_m` is not positive or `index_every` is below 1.
    """
    if not interval_m > 0 or index_every < 1:
        raise ValueError(
            f"interval_m must be above 0 m and index_every at least 1, got {interval_m} "
            f"and {index_every}"
        )
    number = np.rint(np.asarray(levels_m) / interval_m).astype(np.int64)
    return np.asarray(number % index_every == 0)


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
    pieces: list[list[NDArray[Any]]] = [[] for _ in wanted]
    for row, col, tile in _tiles(surface):
        for place, points, starts in _traced(tile, wanted):
            cells = _ends_on_edges(points + np.array([col, row]), starts, surface, wanted[place])
            pieces[place].append(_drawn(cells, starts, grid))
    return [_joined(parts) for parts in pieces]


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
    levels = contour_levels(dem, interval_m)
    most = _MOVED_CELLS * grid.cell_m
    tolerance_m = min(most, _MOVED_GAP * interval_m / max(_steepest(dem, grid.cell_m), 1e-9))
    drawn = []
    for lines in contours(dem, grid, levels):
        parts = shapely.get_parts(lines)
        kept = parts[~(shapely.is_closed(parts) & (shapely.length(parts) < least_ring_m))]
        drawn.append(shapely.multilinestrings(_fewer_vertices(kept, tolerance_m)))
    some = np.array([not lines.is_empty for lines in drawn], dtype=np.bool_)
    return levels[some], [lines for lines in drawn if not lines.is_empty]


def _steepest(dem: Elevation, cell_m: float) -> float:
    """Largest rise of the bilinear surface [m/m], or a little more."""
    across = np.nanmax(np.abs(np.diff(dem, axis=1)), initial=0.0)
    down = np.nanmax(np.abs(np.diff(dem, axis=0)), initial=0.0)
    return float(np.hypot(across, down)) / cell_m


def _fewer_vertices(lines: NDArray[Any], tolerance_m: float) -> NDArray[Any]:
    fewer = np.asarray(shapely.simplify(lines, tolerance_m, preserve_topology=False))
    spoilt = shapely.is_empty(fewer) | ~shapely.is_simple(fewer)
    return np.where(spoilt, lines, fewer) if spoilt.any() else fewer


def _tiles(surface: Elevation) -> Iterator[tuple[int, int, Elevation]]:
    """Tiles that share their border cells, with the place of their first cell."""
    rows, cols = surface.shape
    for row in range(0, max(rows - 1, 1), _TILE):
        for col in range(0, max(cols - 1, 1), _TILE):
            yield row, col, surface[row : row + _TILE + 1, col : col + _TILE + 1]


def _traced(
    tile: Elevation, wanted: NDArray[np.float64]
) -> Iterator[tuple[int, NDArray[np.float64], NDArray[np.int64]]]:
    """Lines of each level that a tile holds: place of the level, points (col, row), starts."""
    if min(tile.shape) < 2 or np.isnan(tile).all():
        return
    low, high = np.nanmin(tile), np.nanmax(tile)
    places = np.flatnonzero((wanted >= low) & (wanted <= high))
    if places.size == 0:
        return
    # corner_mask would draw across triangles beside nodata, where the bilinear surface ends
    tracer = contourpy.contour_generator(
        z=tile, name="serial", corner_mask=False, line_type=contourpy.LineType.ChunkCombinedOffset
    )
    for place in places:
        points, offsets = tracer.lines(float(wanted[place]))
        if points[0] is not None:
            yield int(place), points[0], offsets[0].astype(np.int64)


def _ends_on_edges(
    points: NDArray[np.float64],
    starts: NDArray[np.int64],
    surface: Elevation,
    level_m: float,
) -> NDArray[np.float64]:
    """Compute open ends anew from their grid edge, so that two tiles agree to the last bit."""
    ends = np.concatenate((starts[:-1], starts[1:] - 1))
    col, row = points[ends, 0], points[ends, 1]
    on_row, on_col = _near_whole(row), _near_whole(col)
    row, col = np.where(on_row, np.rint(row), row), np.where(on_col, np.rint(col), col)
    r0, c0 = np.floor(row).astype(np.int64), np.floor(col).astype(np.int64)
    r1 = np.where(on_row, r0, np.minimum(r0 + 1, surface.shape[0] - 1))
    c1 = np.where(on_col, c0, np.minimum(c0 + 1, surface.shape[1] - 1))
    z0, z1 = surface[r0, c0].astype(np.float64), surface[r1, c1].astype(np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(z0 == z1, 0.0, (level_m - z0) / (z1 - z0))
    moved = points.copy()
    moved[ends, 0] = np.where(on_col, col, c0 + part)
    moved[ends, 1] = np.where(on_row, row, r0 + part)
    return moved


def _near_whole(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.asarray(np.abs(values - np.rint(values)) < 1e-9)


def _drawn(cells: NDArray[np.float64], starts: NDArray[np.int64], grid: Grid) -> NDArray[Any]:
    """LineStrings of points in (col, row), without repeated vertices."""
    index = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    same = np.zeros(len(cells), dtype=np.bool_)
    same[1:] = (cells[1:] == cells[:-1]).all(axis=1) & (index[1:] == index[:-1])
    cells, index = cells[~same], index[~same]
    long_enough = np.bincount(index)[index] > 1
    cells, index = cells[long_enough], index[long_enough]
    x, y = grid.xy(cells[:, 1], cells[:, 0])
    place = np.cumsum(np.diff(index, prepend=index[:1]) > 0)  # numbered without gaps
    return np.asarray(shapely.linestrings(np.column_stack((x, y)), indices=place))


def _joined(parts: list[NDArray[Any]]) -> shapely.MultiLineString:
    """Join what the tiles cut; rings stay as they are."""
    if not parts:
        return shapely.MultiLineString()
    lines = np.concatenate(parts)
    ring = shapely.is_closed(lines)
    if ring.all():
        return shapely.multilinestrings(lines)
    merged = shapely.line_merge(shapely.multilinestrings(lines[~ring]), directed=True)
    return shapely.multilinestrings(np.concatenate((lines[ring], shapely.get_parts(merged))))
