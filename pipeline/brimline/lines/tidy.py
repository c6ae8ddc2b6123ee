"""Tidying lines: no staircase, no kinks, no self-crossing, and still where they must be.

A line that was traced cell by cell carries the grid's staircase and the survey's noise. It is
drawn anew as the curve that trades its departure from level against its bending,

    minimise over the curve p:  ∫ (miss / slope)² ds + λ ∫ |p″|² ds,

a smoothing spline whose data are the surface itself. λ = (W/2π)⁴ halves the swing of a bend whose
length is W; bends much longer than W pass unchanged.

References
----------
Eilers (2003), A perfect smoother, doi:10.1021/ac034173t (penalised least squares, its cutoff);
Kass, Witkin & Terzopoulos (1988), Snakes, doi:10.1007/BF00133570 (a curve drawn by a field)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy.linalg import solveh_banded

from brimline.lines.measure import departures
from brimline.lines.sample import chainage, checked_on_grid, gradient_at, surface_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Elevation, Grid

_SWEEPS = 4  # the surface is curved, so the straight-line answer is found anew a few times
_FLAT = 0.005  # [m/m]; on flatter ground level says little about place, and bending decides
_RING_PAD = 2.0  # bend lengths that a ring is drawn past its start, so that it closes smoothly


@dataclass(frozen=True, slots=True)
class Curves:
    """Many lines as evenly spaced points, one line after the other.

    Parameters
    ----------
    points : float64 (points, 2) [m]
    index : int64 (points,), the line of each point, rising.
    step_m : float64 (lines,), distance between a line's points [m].
    inner : bool (points,), False for points beyond a ring's start and end.
    """

    points: NDArray[np.float64]
    index: NDArray[np.int64]
    step_m: NDArray[np.float64]
    inner: NDArray[np.bool_]


def tidied(
    lines: Sequence[shapely.LineString] | NDArray[Any],
    level_m: ArrayLike,
    surface: Elevation,
    grid: Grid,
    *,
    bend_m: float,
    tolerance_m: float,
    simplify_m: float = 0.03,
) -> list[shapely.LineString]:
    """Draw traced level lines as smooth curves that keep to their level.

    Where a curve at `bend_m` would depart from level by more than `tolerance_m`, bends of half,
    then of a quarter of that length are allowed; where that does not do either, the traced line
    is only simplified. Rings stay closed, ends stay free, directions are kept.

    Parameters
    ----------
    lines : (lines,), traced at `level_m` on `surface`.
    level_m : level of each line [m].
    surface : float32 (rows, cols) [m]; NaN is nodata. The surface to be level on.
    bend_m : length of the bends whose swing is halved [m].
    tolerance_m : departure from level on `surface` that is accepted [m].
    simplify_m : greatest distance that leaving out vertices may move the line [m].

    Returns
    -------
    (lines,), none crossing itself.

    Raises
    ------
    GridError
        If `surface` is no elevation array on `grid`.
    ValueError
        If a length or tolerance is not positive.
    """
    _checked_positive(bend_m=bend_m, tolerance_m=tolerance_m, simplify_m=simplify_m)
    dem = checked_on_grid(surface, grid, "surface")
    traced = np.asarray(lines, dtype=object)
    level = np.broadcast_to(np.asarray(level_m, dtype=np.float64), traced.shape)
    drawn = simplified(traced, simplify_m)
    rest = np.arange(len(traced))
    for allowed_m in (bend_m, bend_m / 2, bend_m / 4):
        if rest.size == 0:
            break
        curves = fitted(traced[rest], level[rest], dem, grid, bend_m=allowed_m)
        smooth = simplified(as_lines(curves, traced[rest]), simplify_m)
        off = departures(smooth, level[rest], dem, grid).largest_m
        good = (off <= tolerance_m) & shapely.is_simple(smooth)
        drawn[rest[good]] = smooth[good]
        rest = rest[~good]
    return list(drawn)


def fitted(
    lines: NDArray[Any],
    level_m: ArrayLike,
    surface: Elevation,
    grid: Grid,
    *,
    bend_m: float,
    fall: ArrayLike = 0.0,
) -> Curves:
    """Fit a curve to each line that is as level, or falls as evenly, as its bending allows.

    Parameters
    ----------
    lines : (lines,)
    level_m : level of each line, at its start [m].
    surface : float32 (rows, cols) [m]; NaN is nodata.
    bend_m : length of the bends whose swing is halved [m].
    fall : fall of each line per metre [m/m].

    Raises
    ------
    GridError
        If `surface` is no elevation array on `grid`.
    """
    curves = evenly_spaced(lines, grid.cell_m, pad_m=_RING_PAD * bend_m)
    level = np.broadcast_to(np.asarray(level_m, dtype=np.float64), lines.shape)[curves.index]
    per_m = np.broadcast_to(np.asarray(fall, dtype=np.float64), lines.shape)[curves.index]
    start = curves.points
    points = start
    for _ in range(_SWEEPS):
        normal = _normals(points, curves.index)
        east, north = gradient_at(surface, grid, points[:, 0], points[:, 1])
        slope = east * normal[:, 0] + north * normal[:, 1]
        claim = level - per_m * chainage(points, curves.index)
        miss = surface_at(surface, grid, points[:, 0], points[:, 1]) - claim
        moved = _offsets(replace(curves, points=points), normal, miss, slope, bend_m)
        moved = np.clip(moved, -grid.cell_m, grid.cell_m)
        points = points + moved[:, None] * normal
        points = _within_reach(points, start, bend_m / 2)
    return replace(curves, points=points)


def smoothed_lines(
    lines: Sequence[shapely.LineString] | NDArray[Any], *, bend_m: float, simplify_m: float = 0.03
) -> list[shapely.LineString]:
    """Smooth lines by their shape alone: the swing of bends of `bend_m` is halved.

    Ends stay free and rings closed; a line that would come to cross itself is only simplified.

    Raises
    ------
    ValueError
        If a length is not positive.
    """
    _checked_positive(bend_m=bend_m, simplify_m=simplify_m)
    traced = np.asarray(lines, dtype=object)
    curves = evenly_spaced(traced, bend_m / 10, pad_m=_RING_PAD * bend_m)
    still = np.tile((1.0, 0.0), (len(curves.points), 1))
    one, zero = np.ones(len(still)), np.zeros(len(still))
    # along one axis at a time, offsets from 0 are the coordinates themselves
    origin = curves.points.mean(axis=0) if len(still) else np.zeros(2)
    flat = replace(curves, points=np.zeros_like(curves.points))
    moved = [
        _offsets(flat, still, -(curves.points[:, axis] - origin[axis]), one + zero, bend_m)
        for axis in (0, 1)
    ]
    smooth = replace(curves, points=np.column_stack(moved) + origin)
    drawn = simplified(as_lines(smooth, traced), simplify_m)
    return list(np.where(shapely.is_simple(drawn), drawn, simplified(traced, simplify_m)))


def simplified(lines: Sequence[Any] | NDArray[Any], tolerance_m: float) -> NDArray[Any]:
    """Leave out vertices that move a line by no more than a distance: few on straights.

    Raises
    ------
    ValueError
        If `tolerance_m` is not positive.
    """
    _checked_positive(tolerance_m=tolerance_m)
    every = np.asarray(lines, dtype=object)
    fewer = np.asarray(shapely.simplify(every, tolerance_m, preserve_topology=False))
    spoilt = ~shapely.is_simple(fewer) | shapely.is_empty(fewer)
    if spoilt.any():
        fewer[spoilt] = shapely.simplify(every[spoilt], tolerance_m, preserve_topology=True)
    return fewer


def evenly_spaced(lines: NDArray[Any], step_m: float, *, pad_m: float = 0.0) -> Curves:
    """Points at even distances along each line, about `step_m` apart and both ends among them.

    Rings are carried on past their start by up to `pad_m` at either end.
    """
    length = shapely.length(lines)
    ring = shapely.is_closed(lines)
    count = np.maximum(np.ceil(length / step_m - 1e-9), 4).astype(np.int64)  # steps in a line
    step = length / count
    pad = np.where(ring, np.minimum(np.ceil(pad_m / np.where(step > 0, step, 1.0)), count), 0)
    pad = pad.astype(np.int64)
    number = count + 1 + 2 * pad
    index = np.repeat(np.arange(len(lines)), number)
    place = np.arange(len(index)) - np.repeat(np.cumsum(number) - number, number) - pad[index]
    inner = (place >= 0) & (place <= count[index])
    wrapped = np.where(inner, place, place % count[index])
    vertices, of_line = shapely.get_coordinates(lines, return_index=True)
    along_m = chainage(vertices, of_line)
    # one rising axis for all lines: each begins where the one before ended, and a metre on
    begin = np.cumsum(length + 1.0) - (length + 1.0)
    axis = begin[of_line] + along_m
    wanted = begin[index] + np.minimum(wrapped * step[index], length[index])
    points = np.column_stack(
        (np.interp(wanted, axis, vertices[:, 0]), np.interp(wanted, axis, vertices[:, 1]))
    )
    return Curves(points, index, step, inner)


def as_lines(curves: Curves, like: NDArray[Any]) -> NDArray[Any]:
    """LineStrings of curves; those of rings (in `like`) are closed again."""
    points, index = curves.points[curves.inner].copy(), curves.index[curves.inner]
    first = np.searchsorted(index, np.arange(len(like)))
    last = np.searchsorted(index, np.arange(len(like)), side="right") - 1
    ring = np.flatnonzero(shapely.is_closed(like))
    seam = 0.5 * (points[first[ring]] + points[last[ring]])
    points[first[ring]], points[last[ring]] = seam, seam
    return np.asarray(shapely.linestrings(points, indices=index))


def _checked_positive(**lengths: float) -> None:
    for name, value in lengths.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0 m, got {value}")


def _normals(points: NDArray[np.float64], index: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return unit normals to the left of the way along each line."""
    ahead, behind = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
    last = np.append(index[1:] != index[:-1], True)
    first = np.insert(index[1:] != index[:-1], 0, True)
    ahead[last], behind[first] = points[last], points[first]
    way = ahead - behind
    length = np.hypot(way[:, 0], way[:, 1])
    length[length == 0] = 1.0
    normal: NDArray[np.float64] = np.column_stack((-way[:, 1], way[:, 0])) / length[:, None]
    return normal


def _offsets(
    curves: Curves,
    normal: NDArray[np.float64],
    miss_m: NDArray[np.float64],
    slope: NDArray[np.float64],
    bend_m: float,
) -> NDArray[np.float64]:
    """Solve for the distance to move each point along its normal [m]: one banded system."""
    known = np.isfinite(miss_m) & np.isfinite(slope)
    slope, miss_m = np.where(known, slope, 0.0), np.where(known, miss_m, 0.0)
    scale = slope * slope + _FLAT * _FLAT
    points, index = curves.points, curves.index
    stiff = (bend_m / (2.0 * np.pi) / np.maximum(curves.step_m, 1e-9)) ** 4
    inside = (index[2:] == index[:-2]) if len(index) > 2 else np.zeros(0, dtype=np.bool_)
    push = np.where(inside, stiff[index[1:-1]], 0.0)  # stiffness about each middle point
    bands = np.zeros((3, len(points)))  # upper form: rows hold the 2nd, 1st and main diagonal
    bands[2] = slope * slope / scale + 1e-9
    bands[2, :-2] += push
    bands[2, 1:-1] += 4.0 * push
    bands[2, 2:] += push
    near = (normal[1:] * normal[:-1]).sum(axis=1)
    far = (normal[2:] * normal[:-2]).sum(axis=1)
    bands[1, 1:-1] -= 2.0 * push * near[:-1]
    bands[1, 2:] -= 2.0 * push * near[1:]
    bands[0, 2:] += push * far
    bend = push[:, None] * (points[:-2] - 2.0 * points[1:-1] + points[2:])
    force = np.zeros_like(points)
    force[:-2] += bend
    force[1:-1] -= 2.0 * bend
    force[2:] += bend
    right = -miss_m * slope / scale - (force * normal).sum(axis=1)
    return np.asarray(solveh_banded(bands, right))


def _within_reach(
    points: NDArray[np.float64], start: NDArray[np.float64], reach_m: float
) -> NDArray[np.float64]:
    """Draw back points that went farther from where they began than `reach_m`."""
    way = points - start
    length = np.hypot(way[:, 0], way[:, 1])
    part = np.minimum(1.0, reach_m / np.maximum(length, reach_m))
    return np.asarray(start + way * part[:, None])
