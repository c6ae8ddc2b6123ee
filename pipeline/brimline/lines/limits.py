"""Where lines may not go, and cutting lines there with the reason kept at each end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.errors import GridError
from brimline.grid import checked_same_shape
from brimline.grid.shapes import cells_inside
from brimline.lines import _kernels
from brimline.lines.sample import along_all, chainage, frame_of
from brimline.terrain.slope import slope_pct

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import Accumulation, BoolGrid, Elevation, Grid

    Beyond = Callable[[NDArray[np.float64], NDArray[np.int64]], NDArray[np.uint8]]

_STEPS_PER_CELL: Final = 4
_FOLD_M: Final = 10.0  # a line that turns by more than _FOLD_DEG within this length turns back
_FOLD_DEG: Final = 110.0
_SAMPLES_M: Final = 1e-6  # a sample nearer to the line between its neighbours is no bend of it
_HAIR_M: Final = 0.01  # lines end this far off an outline, so that rounding never takes them in


class Stop(IntEnum):
    """Why a line ends; 0 is ground where it may run."""

    NONE = 0
    DATA_EDGE = 1
    BOUNDARY = 2
    KEEP_OUT = 3
    FLOW_PATH = 4
    STEEP = 5
    ROW = 6  # another row, or the ground of another keyline, begins: no reason to look
    FLAT = 7
    HOLLOW = 8
    FOLD = 9
    UNEVEN = 11  # the survey departs from level by more than the tolerance
    WRONG_FALL = 10  # beyond, water on the line would run back to the valley

    @property
    def flag(self) -> str:
        """Flag code of the reason; empty where there is nothing to look at."""
        return _FLAGS.get(self, "")


_FLAGS: Final = {
    Stop.DATA_EDGE: "at-data-edge",
    Stop.BOUNDARY: "at-boundary",
    Stop.KEEP_OUT: "at-keep-out",
    Stop.FLOW_PATH: "at-flow-path",
    Stop.STEEP: "at-steep-ground",
    Stop.FLAT: "at-flat-ground",
    Stop.HOLLOW: "at-hollow",
    Stop.FOLD: "at-fold",
    Stop.WRONG_FALL: "at-wrong-fall",
    Stop.UNEVEN: "at-uneven-ground",
}


@dataclass(frozen=True, slots=True)
class Limits:
    """Ground where no line may run.

    Parameters
    ----------
    blocked : uint8 (rows, cols), `Stop` codes; 0 is free.
    inside : outline that lines stay within, setback taken off; None is no boundary.
    keep_out : area that no line may enter, setbacks added; None is no keep-out.
    max_slope_pct : steepness above which ground is blocked [%].
    slope_pct : float32 (rows, cols), steepness of the ground where it was worked out [%].
    """

    blocked: NDArray[np.uint8]
    inside: BaseGeometry | None = None
    keep_out: BaseGeometry | None = None
    max_slope_pct: float = np.inf
    slope_pct: NDArray[np.float32] | None = None

    def beside(self, cells: BoolGrid) -> Limits:
        """Block free cells that lie near a drawn row as well."""
        blocked = self.blocked.copy()
        blocked[cells & (blocked == Stop.NONE)] = Stop.ROW
        return replace(self, blocked=blocked)


@dataclass(frozen=True, slots=True)
class Cut:
    """What is left of lines after cutting.

    Parameters
    ----------
    lines : (pieces,) LineStrings, directed as the lines that they were cut from.
    source : int64 (pieces,), place of the line that each was cut from.
    start, end : uint8 (pieces,), `Stop` codes of the two ends; 0 where the line itself ended.
    """

    lines: NDArray[Any]
    source: NDArray[np.int64]
    start: NDArray[np.uint8]
    end: NDArray[np.uint8]

    def chosen(self, which: NDArray[Any]) -> Cut:
        """Return some of the pieces."""
        return Cut(self.lines[which], self.source[which], self.start[which], self.end[which])


def limits(
    surface: Elevation,
    grid: Grid,
    *,
    boundary: BaseGeometry | None = None,
    boundary_setback_m: float = 0.0,
    keep_out: Iterable[BaseGeometry] = (),
    area_m2: Accumulation | None = None,
    path_area_m2: float = np.inf,
    path_clearance_m: float = 0.0,
    max_slope_pct: float = np.inf,
) -> Limits:
    """Gather what stops a line: flow paths, steep ground, keep-outs, the boundary, missing data.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the smoothed survey surface, NaN is nodata.
    boundary : outline of the site.
    boundary_setback_m : clear distance inside it [m].
    keep_out : areas that no line may enter, their setbacks added.
    area_m2 : float64 (rows, cols), contributing area [m²]; NaN is nodata.
    path_area_m2 : cells that gather more than this are flow paths [m²].
    path_clearance_m : clear distance to flow paths [m].
    max_slope_pct : ground steeper than this stops a line [%].

    Raises
    ------
    GridError
        If the arrays do not lie on `grid`.
    ValueError
        If a distance is negative or a threshold not positive.
    """
    _checked(boundary_setback_m, path_clearance_m, path_area_m2, max_slope_pct)
    if checked_same_shape(surface=surface) != grid.shape:
        raise GridError(f"surface {surface.shape} does not lie on the grid of shape {grid.shape}")
    blocked = np.zeros(grid.shape, dtype=np.uint8)
    steep = slope_pct(surface, cell_m=grid.cell_m)
    blocked[steep > max_slope_pct] = Stop.STEEP  # nodata compares False
    if area_m2 is not None and np.isfinite(path_area_m2):
        checked_same_shape(surface=surface, area_m2=area_m2)
        paths = np.asarray(area_m2) > path_area_m2  # nodata compares False
        blocked[_kernels.spread(paths, path_clearance_m / grid.cell_m)] = Stop.FLOW_PATH
    kept_out = _union(keep_out)
    if kept_out is not None:
        blocked[cells_inside([kept_out], grid)] = Stop.KEEP_OUT
    inside = None
    if boundary is not None:
        inside = boundary.buffer(-boundary_setback_m - _HAIR_M)
        blocked[~cells_inside([inside], grid)] = Stop.BOUNDARY
    blocked[np.isnan(surface)] = Stop.DATA_EDGE
    return Limits(blocked, inside, kept_out, max_slope_pct, steep)


def near_lines(lines: Sequence[Any] | NDArray[Any], grid: Grid, distance_m: float) -> BoolGrid:
    """Cells within a distance of lines."""
    if len(lines) == 0:
        return np.zeros(grid.shape, dtype=np.bool_)
    return cells_inside([shapely.union_all(shapely.buffer(lines, distance_m))], grid)


def cut(
    lines: Sequence[Any] | NDArray[Any],
    where: Limits,
    grid: Grid,
    *,
    join_m: float = 0.0,
    beyond: Beyond | None = None,
) -> Cut:
    """Cut lines at the limits: exactly at outlines, to a quarter of a cell at ground.

    Gaps in steep ground, no longer than `join_m`, are bridged; no other gap is.

    Parameters
    ----------
    lines : (lines,) LineStrings.
    join_m : longest gap at steep ground that is bridged [m].
    beyond : gives `Stop` codes for points along lines, where there is more to stop them.

    Raises
    ------
    GridError
        If the limits do not lie on `grid`.
    """
    if where.blocked.shape != grid.shape:
        raise GridError(f"limits {where.blocked.shape} do not lie on the grid {grid.shape}")
    every = np.asarray(lines, dtype=object)
    ends = np.zeros(len(every), dtype=np.uint8)
    pieces = Cut(every, np.arange(len(every)), ends, ends)
    if where.keep_out is not None:
        pieces = _cut_by_shape(pieces, where.keep_out, Stop.KEEP_OUT)
    if where.inside is not None:
        pieces = _cut_by_shape(pieces, where.inside, Stop.BOUNDARY)
    return _cut_by_cells(pieces, where.blocked, grid, join_m, beyond)


def cut_at_folds(pieces: Cut, step_m: float) -> Cut:
    """Cut lines where they turn back on themselves within a few metres.

    Level lines do so at a bank, a ditch or a track that runs up the slope. No swale is dug round
    such a bend; the line ends there on either side.

    Parameters
    ----------
    step_m : distance between the places at which the direction is looked at [m].
    """
    if len(pieces.lines) == 0:
        return pieces
    points, index = along_all(pieces.lines, step_m)
    at = chainage(points, index)
    bent: NDArray[np.bool_] = _kernels.folds(points, index, at, _FOLD_M, np.radians(_FOLD_DEG))
    if not bent.any():
        return pieces
    code = np.where(bent, np.uint8(Stop.FOLD), np.uint8(Stop.NONE))
    return _stretches(pieces, points, index, *_kernels.runs(code, index, at, Stop.STEEP, 0.0))


def named_ends(pieces: Cut, where: Limits, grid: Grid) -> Cut:
    """Name what lies beside ends that no cut has made, such as where tracing came to a limit."""
    found = []
    for which, code in ((0, pieces.start), (-1, pieces.end)):
        ends = shapely.get_coordinates(shapely.get_point(pieces.lines, which))
        beside = _beside(ends, where.blocked, grid)
        own = (code == Stop.NONE) & ~shapely.is_closed(pieces.lines)
        found.append(np.where(own, beside, code).astype(np.uint8))
    return Cut(pieces.lines, pieces.source, found[0], found[1])


def _beside(
    points: NDArray[np.float64], blocked: NDArray[np.uint8], grid: Grid
) -> NDArray[np.uint8]:
    """First of the reasons, in their order, among the cell of each point and its neighbours."""
    row, col = grid.cell(points[:, 0], points[:, 1])
    nothing = 255
    least = np.full(len(points), nothing, dtype=np.uint8)
    for dr in (-1, 0, 1):
        for dc in (-1, 0, 1):
            r, c = row + dr, col + dc
            held = grid.holds(r, c)
            code = np.full(len(points), Stop.DATA_EDGE, dtype=np.uint8)
            code[held] = blocked[r[held], c[held]]
            least = np.where(code != Stop.NONE, np.minimum(least, code), least)
    return np.where(least == nothing, np.uint8(Stop.NONE), least)


def _checked(setback_m: float, clearance_m: float, area_m2: float, steepest_pct: float) -> None:
    for name, value in (("boundary_setback_m", setback_m), ("path_clearance_m", clearance_m)):
        if not value >= 0:
            raise ValueError(f"{name} must not be negative, got {value} m")
    for name, value in (("path_area_m2", area_m2), ("max_slope_pct", steepest_pct)):
        if not value > 0:
            raise ValueError(f"{name} must be above 0, got {value}")


def _union(shapes: Iterable[BaseGeometry]) -> BaseGeometry | None:
    drawn = [shape for shape in shapes if shape is not None and not shape.is_empty]
    return shapely.union_all(drawn).buffer(_HAIR_M) if drawn else None


def _cut_by_shape(pieces: Cut, shape: BaseGeometry, reason: Stop) -> Cut:
    """Take off what lies in a keep-out, or outside the boundary; new ends get the reason."""
    if len(pieces.lines) == 0:
        return pieces
    shapely.prepare(shape)
    lines = pieces.lines.copy()
    if reason is Stop.KEEP_OUT:
        touched = shapely.intersects(shape, lines)
        lines[touched] = shapely.difference(lines[touched], shape)
    else:
        touched = ~shapely.contains_properly(shape, lines)
        lines[touched] = shapely.intersection(lines[touched], shape)
    if not touched.any():
        return pieces
    several = np.flatnonzero(
        touched & (shapely.get_type_id(lines) != shapely.GeometryType.LINESTRING)
    )
    for place in several:
        lines[place] = _lines_of(lines[place])
    parts, origin = shapely.get_parts(lines, return_index=True)
    kept = ~shapely.is_empty(parts)
    parts, origin = parts[kept], origin[kept]
    was = pieces.lines[origin]
    start = np.where(_same_end(parts, was, 0), pieces.start[origin], np.uint8(reason))
    end = np.where(_same_end(parts, was, -1), pieces.end[origin], np.uint8(reason))
    ring = shapely.is_closed(parts)
    start[ring], end[ring] = Stop.NONE, Stop.NONE
    return Cut(parts, pieces.source[origin], start.astype(np.uint8), end.astype(np.uint8))


def _lines_of(shape: BaseGeometry) -> BaseGeometry:
    """Return the line parts of what a cut left, those that meet at a ring's seam joined."""
    parts = shapely.get_parts(shape)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING]
    return shapely.line_merge(shapely.multilinestrings(parts), directed=True)


def _same_end(parts: NDArray[Any], whole: NDArray[Any], which: int) -> NDArray[np.bool_]:
    one, other = shapely.get_point(parts, which), shapely.get_point(whole, which)
    same: NDArray[np.bool_] = shapely.equals(one, other)
    return same


def _cut_by_cells(
    pieces: Cut, blocked: NDArray[np.uint8], grid: Grid, join_m: float, beyond: Beyond | None
) -> Cut:
    """Keep the stretches over free cells."""
    if len(pieces.lines) == 0:
        return pieces
    points, index = along_all(pieces.lines, grid.cell_m / _STEPS_PER_CELL)
    code: NDArray[np.uint8] = _kernels.codes_at(
        points, blocked, frame_of(grid), np.uint8(Stop.DATA_EDGE)
    )
    # outlines have been cut exactly already; their cells only matter to where rows are placed
    code[(code == Stop.KEEP_OUT) | (code == Stop.BOUNDARY)] = Stop.NONE
    if beyond is not None:
        code = np.where(code == Stop.NONE, beyond(points, index), code)
    if not code.any():
        return pieces
    first, last, before, after = _kernels.runs(
        code, index, chainage(points, index), Stop.STEEP, join_m
    )
    return _stretches(pieces, points, index, first, last, before, after)


def _stretches(
    pieces: Cut,
    points: NDArray[np.float64],
    index: NDArray[np.int64],
    first: NDArray[np.int64],
    last: NDArray[np.int64],
    before: NDArray[np.uint8],
    after: NDArray[np.uint8],
) -> Cut:
    """Make pieces of the stretches of samples, rings that were cut joined over their seam."""
    of = index[first]
    places = np.arange(len(pieces.lines))
    at_begin = first == np.searchsorted(index, places)[of]
    at_finish = last == np.searchsorted(index, places, side="right")[of] - 1
    whole = at_begin & at_finish
    start = np.where(at_begin, pieces.start[of], before)
    end = np.where(at_finish, pieces.end[of], after)
    lines = pieces.lines[of].copy()
    part = ~whole & (last > first)
    lines[part] = _part_lines(points, first[part], last[part])
    kept = whole | part
    ring = shapely.is_closed(pieces.lines)[of] & ~whole
    for head in np.flatnonzero(ring & at_begin):
        # the last stretch of a cut ring runs on over the seam into the first one
        tails = np.flatnonzero(ring & at_finish & (of == of[head]))
        for tail in tails:
            there = points[first[tail] : last[tail] + 1]
            joined = np.concatenate((there, points[first[head] + 1 : last[head] + 1]))
            kept[head], kept[tail], start[head] = len(joined) > 1, False, before[tail]
            if kept[head]:
                (lines[head],) = _part_lines(joined, np.array([0]), np.array([len(joined) - 1]))
    return Cut(lines[kept], pieces.source[of[kept]], start[kept], end[kept])


def _part_lines(
    points: NDArray[np.float64], first: NDArray[np.int64], last: NDArray[np.int64]
) -> NDArray[Any]:
    """Lines through the samples from first to last, without those that are no bends."""
    size = last - first + 1
    index = np.repeat(np.arange(len(first)), size)
    inside = np.arange(len(index)) - np.repeat(np.cumsum(size) - size, size)
    xy = points[first[index] + inside]
    bent = _kernels.bends(xy, index, _SAMPLES_M)
    lines: NDArray[Any] = np.empty(len(first), dtype=object)
    lines[:] = shapely.linestrings(xy[bent], indices=index[bent])
    return lines
