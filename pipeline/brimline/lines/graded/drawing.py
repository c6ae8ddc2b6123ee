"""Drawing a falling line: smooth, and downhill from vertex to vertex on the survey itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.lines.sample import along, chainage, onto_level, surface_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid

_STEPS_PER_CELL: Final = 4
_NUDGE_CELLS: Final = 0.4  # farthest that a vertex is moved onto its level
_PUSH_CELLS: Final = 2.0  # and where the line would be drawn far off without it
_BULGE_CELLS: Final = 0.4  # which is this far off
_FAR: Final = 2.0  # times what leaving out vertices may move a line
_COARSER: Final = (1.0, 4.0, 16.0)
_ON_GRADE_M: Final = 1e-3  # an end this close to its level stays
_LEAST_DROP_M: Final = 1e-4  # between two vertices; less would be rounding


def line_array(line: shapely.LineString) -> NDArray[Any]:
    """Make an array of one line."""
    lines = np.empty(1, dtype=object)
    lines[0] = line
    return lines


def start_level(
    start: tuple[float, ...], survey: Elevation, surface: Elevation, grid: Grid
) -> float:
    """Level from which a line falls: the lower of survey and smoothed surface at its start.

    All of the line is then below the survey's reading at the start itself.
    """
    read, smooth = surface_at(survey, grid, *start[:2]), surface_at(surface, grid, *start[:2])
    return float(np.minimum(read, smooth))


def goal_level(goal: tuple[float, ...], survey: Elevation, surface: Elevation, grid: Grid) -> float:
    """Level to which a line falls: the higher of survey and smoothed surface at its goal."""
    read, smooth = surface_at(survey, grid, *goal[:2]), surface_at(surface, grid, *goal[:2])
    return float(np.maximum(read, smooth))


def with_vertices_on_grade(
    line: shapely.LineString,
    claim: tuple[NDArray[np.float64], NDArray[np.float64]],
    survey: Elevation,
    grid: Grid,
    *,
    simplify_m: float,
    keep_end: bool,
) -> shapely.LineString:
    """Put the vertices where the line crosses the level that it should have on the survey.

    A smooth line lies now above and now below the noise of the survey. Where it changes over, the
    ground has exactly the level of the fall: with vertices there, the survey falls from each to
    the next, and the line needs no kink for it. Where it does not change over for too long, other
    points of the line serve, moved a little onto their level, or else if the survey falls to them
    and from them anyway.

    Parameters
    ----------
    line : a smooth falling line, drawn downhill; its start is kept.
    claim : distances along the line from 0 and the levels there, falling [m].
    survey : float32 (rows, cols) [m]; NaN is nodata.
    simplify_m : greatest distance between the line and its drawing [m].
    keep_end : False lets the line end at the last place that has its level.
    """
    points = along(line, grid.cell_m / _STEPS_PER_CELL)
    at = chainage(points, np.zeros(len(points), dtype=np.int64))
    wanted = np.interp(at * (claim[0][-1] / at[-1]), *claim)
    miss = surface_at(survey, grid, points[:, 0], points[:, 1]) - wanted
    with np.errstate(invalid="ignore"):
        change = np.flatnonzero(np.sign(miss[:-1]) * np.sign(miss[1:]) < 0)
    part = miss[change] / (miss[change] - miss[change + 1])
    crossing = points[change] + part[:, None] * (points[change + 1] - points[change])
    place = at[change] + part * (at[change + 1] - at[change])
    crossing = onto_level(
        survey, grid, crossing, np.interp(place, at, wanted), reach_m=grid.cell_m / 10
    )
    vertices = [points[0], *crossing, points[-1]]
    where = [0.0, *place, float(at[-1])]
    if not (keep_end or abs(miss[-1]) <= _ON_GRADE_M) and len(vertices) > 2:
        vertices, where = vertices[:-1], where[:-1]
    on_grade = onto_level(survey, grid, points, wanted, reach_m=_PUSH_CELLS * grid.cell_m)
    for coarser in _COARSER:  # fewer vertices where the line would come to cross itself
        chosen, extra = _chosen(
            vertices, where, points, on_grade, at, coarser * simplify_m, grid.cell_m
        )
        level = surface_at(survey, grid, chosen[:, 0], chosen[:, 1])
        drawn = shapely.LineString(chosen[_downhill(level, extra)])
        if drawn.is_simple:
            return drawn
    return line


def _chosen(
    vertices: list[NDArray[np.float64]],
    where: list[float],
    points: NDArray[np.float64],
    on_grade: NDArray[np.float64],
    at: NDArray[np.float64],
    simplify_m: float,
    cell_m: float,
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Choose vertices as far apart as they may be; others come in where a chord is far off."""
    vertices, where = list(vertices), list(where)
    moved_m = np.hypot(*(on_grade - points).T)
    sound = [True] * len(vertices)
    kept = [0]
    while kept[-1] < len(vertices) - 1:
        i = kept[-1]
        j, far, off_m = _farthest_chord(vertices, where, i, points, at, simplify_m, cell_m)
        if far >= 0:
            # far off the chord a vertex is needed, even one that bends the line a little
            push = moved_m[far] > 0 and (
                moved_m[far] <= _NUDGE_CELLS * cell_m or off_m > _BULGE_CELLS * cell_m
            )
            vertices.insert(j, on_grade[far] if push else points[far])
            where.insert(j, float(at[far]))
            sound.insert(j, bool(push))
            continue
        kept.append(j)
    return np.array([vertices[i] for i in kept]), ~np.array([sound[i] for i in kept])


def _farthest_chord(
    vertices: list[NDArray[np.float64]],
    where: list[float],
    i: int,
    points: NDArray[np.float64],
    at: NDArray[np.float64],
    simplify_m: float,
    apart_m: float,
) -> tuple[int, int, float]:
    """Last vertex to which a chord stays close enough.

    If the chord to the next one already is far off: that one, the point of the line farthest off
    the chord, and how far it is; -1 and 0 else.
    """
    last = i
    for j in range(i + 1, len(vertices)):
        low, high = np.searchsorted(at, [where[i] + 1e-9, where[j] - 1e-9])
        off = _off_chord(points[low:high], vertices[i], vertices[j])
        if off.size and off.max() > simplify_m:
            first, then = np.searchsorted(at, [where[i] + apart_m, where[j] - apart_m])
            inner = off[first - low : then - low]
            if last == i and inner.size and inner.max() > _FAR * simplify_m:
                return j, int(first + np.argmax(inner)), float(inner.max())
            last = max(last, i + 1)
            break
        last = j
    return last, -1, 0.0


def _off_chord(
    points: NDArray[np.float64], one: NDArray[np.float64], other: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance of points from the line through two vertices."""
    way = other - one
    length = max(float(np.hypot(*way)), 1e-9)
    from_one = points - one
    return np.asarray(np.abs(from_one[:, 0] * way[1] - from_one[:, 1] * way[0]) / length)


def _downhill(level: NDArray[np.float64], extra: NDArray[np.bool_]) -> list[int]:
    """Leave out inner vertices that the survey does not fall to and from; the ends stay.

    An extra vertex must lie between the on-grade ones around it.
    """
    kept = [0]
    for i in range(1, len(level) - 1):
        lower = level[-1]
        if extra[i]:
            lower = level[i + 1 + int(np.argmin(extra[i + 1 :]))]
        if level[kept[-1]] - _LEAST_DROP_M > level[i] > lower + _LEAST_DROP_M:
            kept.append(i)
    return [*kept, len(level) - 1]
