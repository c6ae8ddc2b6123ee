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
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import shapely

from brimline.lines.fitting import _kernels
from brimline.lines.measure import departures_from
from brimline.lines.sample import chainage, checked_on_grid, frame_of, levels_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Elevation, Grid

Pinned = Literal["none", "start", "both"]

_SWEEPS = 6  # the surface is curved, so the straight-line answer is found anew a few times
_ROUNDS = 3  # of allowing shorter bends where a line misses its level
_WORTH = 0.7  # share of its departure that a line may keep for shorter bends to be worth it
_KINK_M = 4.0  # length of line over which it may turn by
_KINK_DEG = 60.0  # so much by shorter bends
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
    guide: Elevation | None = None,
    fall: ArrayLike = 0.0,
    pinned: Pinned = "none",
) -> list[shapely.LineString]:
    """Draw traced level lines as smooth curves that keep to their level.

    Where a curve would depart from level by more than `tolerance_m`, shorter bends are allowed
    there, down to half of `bend_m`. A line that comes not much closer by that, or kinks more
    sharply than a machine digs, is left as the smoothest curve: bending after the survey's noise
    gains nothing.
    Rings stay closed, ends stay free, directions are kept.

    Parameters
    ----------
    lines : (lines,), traced at `level_m` on the surface or on a smoothed one.
    level_m : level of each line [m].
    surface : float32 (rows, cols) [m]; NaN is nodata. The surface to be level on.
    bend_m : length of the bends whose swing is halved [m].
    tolerance_m : departure from level on `surface` that is accepted [m].
    simplify_m : greatest distance that leaving out vertices may move the line [m].
    guide : float32 (rows, cols) [m], the smoothed surface, whose slope says how far a miss in
        height is on the ground; `surface` itself if left out.
    fall : fall of each line per metre, for lines that are not to be level [m/m].
    pinned : which ends stay where they are.

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
    way = dem if guide is None else checked_on_grid(guide, grid, "guide")
    traced = np.asarray(lines, dtype=object)
    if traced.size == 0:
        return []
    level = np.array(np.broadcast_to(np.asarray(level_m, dtype=np.float64), traced.shape))
    per_m = np.array(np.broadcast_to(np.asarray(fall, dtype=np.float64), traced.shape))
    curves = evenly_spaced(traced, grid.cell_m, pad_m=_RING_PAD * bend_m)
    bend = np.full(len(curves.points), float(bend_m))

    def fit(which: NDArray[np.int64]) -> tuple[Curves, NDArray[Any], NDArray[np.float64]]:
        new = fitted(
            curves,
            level[which],
            dem,
            grid,
            bend_m=bend,
            fall=per_m[which],
            guide=way,
            pinned=pinned,
        )
        lines_ = _drawn(new, traced[which], simplify_m)
        return (
            new,
            lines_,
            departures_from(dem, lines_, level[which], grid, fall=per_m[which]).largest_m,
        )

    curves, drawn, off = fit(np.arange(len(traced)))
    rest = np.flatnonzero(~(off <= tolerance_m))
    bend = bend[np.isin(curves.index, rest)]
    worth = np.maximum(tolerance_m, _WORTH * off)  # what a line must reach to be bent more
    kink = np.maximum(_sharpest(drawn), np.radians(_KINK_DEG))
    curves = _taken(curves, rest)
    for _ in range(_ROUNDS):
        if rest.size == 0:
            break
        claim = level[rest][curves.index] - per_m[rest][curves.index] * chainage(
            curves.points, curves.index
        )
        bend = _eased(curves, bend, claim, dem, grid, tolerance_m, bend_m)
        curves, closer, off = fit(rest)
        soft = _sharpest(closer) <= kink[rest] + 1e-9
        good = (off <= worth[rest]) & soft
        drawn[rest[good]], worth[rest[good]] = closer[good], np.maximum(tolerance_m, off[good])
        again = ~(off <= tolerance_m) & soft
        bend = bend[again[curves.index]]
        curves, rest = _taken(curves, np.flatnonzero(again)), rest[again]
    return list(drawn)


def _sharpest(lines: NDArray[Any]) -> NDArray[np.float64]:
    """Largest turn of each line within `_KINK_M` [rad]."""
    step_m = _KINK_M / 4
    curves = evenly_spaced(lines, step_m)
    way = np.diff(curves.points, axis=0)
    ahead, behind = way[3:], way[:-3]  # the first and the last of four steps
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turn = np.abs(np.arctan2(cross, (behind * ahead).sum(axis=1)))
    inside = curves.index[4:] == curves.index[:-4]
    sharpest = np.zeros(len(lines))
    np.maximum.at(sharpest, curves.index[:-4][inside], turn[inside])
    return sharpest


def _eased(
    curves: Curves,
    bend_m: NDArray[np.float64],
    claim_m: NDArray[np.float64],
    surface: Elevation,
    grid: Grid,
    tolerance_m: float,
    full_bend_m: float,
) -> NDArray[np.float64]:
    """Allow shorter bends around the points that are farthest from level."""
    points = curves.points
    miss = levels_of(surface, grid, points[:, 0], points[:, 1]) - claim_m
    over = (np.abs(miss) > 0.8 * tolerance_m).astype(np.float64)
    reach = max(1, round(0.5 * full_bend_m / grid.cell_m))
    near = np.convolve(over, np.ones(2 * reach + 1))[reach : reach + len(over)] > 0.5
    return np.asarray(np.where(near, np.maximum(bend_m / np.sqrt(2.0), full_bend_m / 2), bend_m))


def fitted(
    curves: Curves,
    level_m: ArrayLike,
    surface: Elevation,
    grid: Grid,
    *,
    bend_m: float | NDArray[np.float64],
    fall: ArrayLike = 0.0,
    guide: Elevation | None = None,
    claim_m: NDArray[np.float64] | None = None,
    pinned: Pinned = "none",
) -> Curves:
    """Fit curves that are as level, or fall as evenly, as their bending allows.

    Parameters
    ----------
    curves : evenly spaced lines.
    level_m : (lines,) level of each line, at its start [m].
    surface : float32 (rows, cols) [m]; NaN is nodata.
    bend_m : length of the bends whose swing is halved [m]; one, or one for each point.
    fall : fall of each line per metre [m/m].
    guide : as in `tidied`.
    claim_m : (points,) level that the line should have at each point [m], in place of an even fall.
    pinned : which ends of each line stay where they are.

    Raises
    ------
    GridError
        If `surface` is no elevation array on `grid`.
    """
    count = len(curves.step_m)
    level_ground = checked_on_grid(surface, grid, "surface")
    slopes = level_ground if guide is None else checked_on_grid(guide, grid, "guide")
    claims = np.empty(0) if claim_m is None else np.asarray(claim_m, dtype=np.float64)
    points = _kernels.fitted(
        level_ground,
        slopes,
        frame_of(grid),
        curves.points,
        _begins(curves.index, count),
        _each(level_m, count),
        _each(fall, count),
        claims,
        _each(bend_m, len(curves.index)),
        _held(curves, pinned),
        curves.step_m,
        _SWEEPS,
        4.0 * grid.cell_m,
    )
    return replace(curves, points=points)


def _begins(index: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """First point of each of `count` lines, and one more for the end."""
    return np.searchsorted(index, np.arange(count + 1))


def _each(value: ArrayLike, count: int) -> NDArray[np.float64]:
    """Return one value for each, as an array that is laid out plainly and may be written to."""
    return np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), (count,)))


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
    if traced.size == 0:
        return []
    curves = evenly_spaced(traced, bend_m / 16, pad_m=_RING_PAD * bend_m)
    # one axis at a time: along it, the offset from 0 that is wanted is the coordinate itself
    count = len(curves.points)
    axis, one = np.tile((1.0, 0.0), (count, 1)), np.ones(count)
    bend, held = np.full(count, float(bend_m)), np.zeros(count, dtype=np.bool_)
    begin = _begins(curves.index, len(traced))
    origin = curves.points.mean(axis=0)
    nowhere = np.zeros_like(curves.points)
    x, y = (
        _kernels.moves(nowhere, begin, axis, -wanted, one, bend, held, curves.step_m)
        for wanted in (curves.points - origin).T
    )
    smooth = replace(curves, points=np.column_stack((x, y)) + origin)
    return list(_drawn(smooth, traced, simplify_m))


def _held(curves: Curves, pinned: Pinned) -> NDArray[np.bool_]:
    """Points that must not move: the first, or the first and the last, of each line."""
    change = curves.index[1:] != curves.index[:-1]
    first, last = np.insert(change, 0, True), np.append(change, True)
    if pinned == "none":
        return np.zeros_like(first)
    return first if pinned == "start" else first | last


def _drawn(curves: Curves, traced: NDArray[Any], simplify_m: float) -> NDArray[Any]:
    """Lines of curves with few vertices; where one crosses itself, the traced line."""
    drawn = simplified(as_lines(curves, traced), simplify_m)
    crossing = ~shapely.is_simple(drawn)
    if crossing.any():
        drawn[crossing] = simplified(traced[crossing], simplify_m)
    return drawn


def _taken(curves: Curves, chosen: NDArray[np.int64]) -> Curves:
    """Take some of the lines, numbered anew."""
    points = np.isin(curves.index, chosen)
    return Curves(
        curves.points[points],
        np.searchsorted(chosen, curves.index[points]),
        curves.step_m[chosen],
        curves.inner[points],
    )


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
    vertices, of_line = shapely.get_coordinates(lines, return_index=True)
    points, index, inner = _kernels.spaced(
        vertices, _begins(of_line, len(lines)), count, pad.astype(np.int64), step
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
