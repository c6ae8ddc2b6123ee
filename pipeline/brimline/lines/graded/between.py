"""The falling line between two fixed points: its grade, or a clear statement that there is none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.grid import checked_same_shape
from brimline.lines._kernels import spread
from brimline.lines.graded import _kernels
from brimline.lines.graded.drawing import (
    goal_level,
    line_array,
    start_level,
    with_vertices_on_grade,
)
from brimline.lines.graded.from_start import (
    GradedLine,
    described,
    drawn_evenly,
    followed,
    may_set_out,
)
from brimline.lines.level_lines import Drawing
from brimline.lines.limits import Stop, cut
from brimline.lines.sample import chainage, checked_on_grid, surface_at
from brimline.lines.tidy import evenly_spaced, fitted

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.limits import Limits

_HALVINGS: Final = 40
_MEET_CELLS: Final = 0.5  # how close an evenly falling line must come to the goal
_REACH: Final = 5  # cells: the longest move of the search; its ways differ by about 11°
_BEND_CELLS: Final = 12.0  # bends of the searched way that are halved, in cells
_OFF_CELLS: Final = 5.0  # height that the drawn way may be off its falls, as cells of the most fall
_ROOM_CELLS: Final = (1.0, 2.0, 4.0)  # kept to blocked ground, until the drawn way keeps clear
_SLACK_CELLS: Final = 0.25  # height that a cell centre may be off, as a share of a cell's fall


@dataclass(frozen=True, slots=True)
class NoLine:
    """Why no line that falls as asked joins two points.

    Parameters
    ----------
    why : a sentence for the person.
    level_fall_m : level of the start less that of the goal [m]; NaN outside the data.
    flag : code of the flag catalogue.
    """

    why: str
    level_fall_m: float
    flag: str = "short-of-goal"


def graded_between(
    start: tuple[float, float],
    goal: tuple[float, float],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    *,
    least_fall_pct: float,
    most_fall_pct: float,
    drawing: Drawing = Drawing(),  # noqa: B008 frozen, so it can be shared
) -> GradedLine | NoLine:
    """Find the shortest line that falls all the way from one point to another.

    First the two lines that fall evenly, one to each side: their grade is the one at which the
    line that is followed from the start meets the goal. If the ground bars both, or their grade is
    out of bounds, the shortest way over the cells whose every stretch falls within the bounds is
    searched, and drawn as a smooth line of the same falls.

    Parameters
    ----------
    start, goal : map coordinates [m].
    survey : float32 (rows, cols) [m]; the surface to measure against, NaN is nodata.
    surface : float32 (rows, cols) [m]; the survey smoothed, over which the line is sought.
    where : ground where no line may run.
    least_fall_pct, most_fall_pct : bounds of the fall [%].
    drawing : tolerance, bends and vertices of the drawn line.

    Returns
    -------
    The line from start to goal, or why there is none.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    ValueError
        If the bounds are not positive or out of order.
    """
    if not 0 < least_fall_pct <= most_fall_pct:
        raise ValueError(
            f"falls must be above 0 % and in order, got {least_fall_pct} % and {most_fall_pct} %"
        )
    survey = checked_on_grid(survey, grid, "survey")
    surface = checked_on_grid(surface, grid, "surface")
    checked_same_shape(surface=surface, blocked=where.blocked)
    least, most = least_fall_pct / 100.0, most_fall_pct / 100.0
    refusal = _refusal(start, goal, surface, grid, where, least)
    if refusal is not None:
        return refusal
    even = [
        line
        for turn in (1, -1)
        if (line := _even(start, goal, turn, surface, grid, where, least, most)) is not None
    ]
    for line in sorted(even, key=lambda found: float(found.length)):
        high = start_level(start, survey, surface, grid)
        fall = (high - goal_level(goal, survey, surface, grid)) / line.length
        drawn = drawn_evenly(line, fall, survey, surface, grid, drawing=drawing, pinned=True)
        if _whole(drawn, where, grid) is not None:
            return described(drawn, survey, grid, set(), drawing.tolerance_m)
    for room in _ROOM_CELLS:
        found = _searched(start, goal, surface, grid, where, least, most, room)
        if found is None:
            continue
        line, claim = found
        drawn = with_vertices_on_grade(
            line, claim, surface, grid, simplify_m=drawing.simplify_m, keep_end=True
        )
        if _whole(drawn, where, grid) is not None:
            return described(drawn, survey, grid, set(), drawing.tolerance_m)
    return NoLine(
        f"no line joins the points that falls between {least_fall_pct:g} % and "
        f"{most_fall_pct:g} % all the way and keeps to free ground",
        _drop(start, goal, surface, grid),
    )


def _drop(
    start: tuple[float, float], goal: tuple[float, float], surface: Elevation, grid: Grid
) -> float:
    high, low = surface_at(surface, grid, [start[0], goal[0]], [start[1], goal[1]])
    return float(high - low)


def _refusal(
    start: tuple[float, float],
    goal: tuple[float, float],
    surface: Elevation,
    grid: Grid,
    where: Limits,
    least: float,
) -> NoLine | None:
    """Say what can be seen to be impossible without looking for a line."""
    drop, apart = (
        _drop(start, goal, surface, grid),
        float(np.hypot(goal[0] - start[0], goal[1] - start[1])),
    )
    if not (may_set_out(start, grid, where) and may_set_out(goal, grid, where)) or np.isnan(drop):
        return NoLine("an end lies outside the data or on ground where no line may run", drop)
    if drop <= 0:
        text = f"the goal is not lower than the start: it lies {abs(drop):.2f} m above it"
        return NoLine(text, drop)
    if drop < least * apart:
        return NoLine(
            f"a straight line would fall {100 * drop / apart:.2f} %, less than {100 * least:g} %: "
            "the points are too far apart for their difference in level",
            drop,
        )
    return None


def _even(
    start: tuple[float, float],
    goal: tuple[float, float],
    turn: int,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    least: float,
    most: float,
) -> shapely.LineString | None:
    """Find the evenly falling line to one side that meets the goal, by halving its grade.

    Of a line that passes the goal on its upper side, the level at the nearest point is above the
    goal's: it has to fall faster.
    """
    target = shapely.Point(goal)
    low = float(surface_at(surface, grid, *goal))
    high = float(surface_at(surface, grid, *start))
    slow, fast = least, most
    longest = 1.05 * (high - low) / least + 4.0 * grid.cell_m
    for _ in range(_HALVINGS):
        fall = float(np.sqrt(slow * fast))
        points, _ = followed(start, fall, turn, surface, grid, where, max_length_m=longest)
        if len(points) < 2:
            return None
        line = shapely.LineString(points)
        met = line.project(target)
        if target.distance(line) <= 1e-3 * grid.cell_m:
            break
        if high - fall * met > low:
            slow = fall
        else:
            fast = fall
    if target.distance(line) > _MEET_CELLS * grid.cell_m:
        return None
    return _whole(_ended(points, met, goal), where, grid)


def _ended(
    points: NDArray[np.float64], met_m: float, goal: tuple[float, float]
) -> shapely.LineString:
    """Cut the line off where it is nearest to the goal, and end it there."""
    at = chainage(points, np.zeros(len(points), dtype=np.int64))
    kept = points[at < met_m - 1e-6]
    return shapely.LineString(np.concatenate((kept, [goal])))


def _whole(line: shapely.LineString, where: Limits, grid: Grid) -> shapely.LineString | None:
    """Return the line if no limit cuts it."""
    pieces = cut(line_array(line), where, grid)
    uncut = len(pieces.lines) == 1 and not pieces.start.any() and not pieces.end.any()
    return line if uncut and line.is_simple else None


def _searched(
    start: tuple[float, float],
    goal: tuple[float, float],
    surface: Elevation,
    grid: Grid,
    where: Limits,
    least: float,
    most: float,
    room_cells: float,
) -> tuple[shapely.LineString, tuple[NDArray[np.float64], NDArray[np.float64]]] | None:
    """Search the cells for the shortest way and draw it smoothly with the same falls.

    The search keeps a few cells of room to blocked ground, which smoothing then takes up.
    """
    (row, goal_row), (col, goal_col) = grid.cell([start[0], goal[0]], [start[1], goal[1]])
    first, last = int(row) * grid.cols + int(col), int(goal_row) * grid.cols + int(goal_col)
    roomy = spread(where.blocked != Stop.NONE, room_cells).astype(np.uint8)
    slack = _SLACK_CELLS * most * grid.cell_m * _REACH
    way = _kernels.search(
        surface,
        roomy,
        first,
        last,
        least * grid.cell_m,
        most * grid.cell_m,
        slack,
        _moves(),
    )
    if len(way) < 2:
        return None
    points = np.column_stack(grid.xy(*np.divmod(way, grid.cols)))
    points[0], points[-1] = start, goal
    points = points[np.append(True, np.hypot(*np.diff(points, axis=0).T) > 1e-6)]
    return _redrawn(shapely.LineString(points), surface, grid, least, most)


def _moves() -> NDArray[np.int64]:
    """Return steps to all cells within reach that no shorter step has on its way."""
    span = np.arange(-_REACH, _REACH + 1)
    steps = np.array([(r, c) for r in span for c in span if np.gcd(r, c) == 1], dtype=np.int64)
    return np.asarray(steps[np.hypot(*steps.T) <= _REACH + 0.5])


def _redrawn(
    rough: shapely.LineString,
    surface: Elevation,
    grid: Grid,
    least: float,
    most: float,
) -> tuple[shapely.LineString, tuple[NDArray[np.float64], NDArray[np.float64]]] | None:
    """Draw a searched way smoothly; None where its falls or its place do not hold up.

    With it come distances along it and the levels that it should have there.
    """
    lines = line_array(rough)
    curves = evenly_spaced(lines, grid.cell_m)
    high, low = surface_at(surface, grid, *curves.points[[0, -1]].T)
    for _ in range(3):
        claim = _profile(curves.points, surface, grid, float(low), least, most)
        if claim is None:
            return None
        curves = fitted(
            curves,
            [high],
            surface,
            grid,
            bend_m=_BEND_CELLS * grid.cell_m,
            claim_m=claim,
            pinned="both",
        )
    points = curves.points
    claim = _profile(points, surface, grid, float(low), least, most)
    if claim is None:
        return None
    line = shapely.LineString(points)
    off = np.abs(surface_at(surface, grid, *points.T) - claim)
    if off.max() > _OFF_CELLS * most * grid.cell_m or not line.is_simple:
        return None
    return line, (chainage(points, np.zeros(len(points), dtype=np.int64)), claim)


def _profile(
    points: NDArray[np.float64],
    surface: Elevation,
    grid: Grid,
    low: float,
    least: float,
    most: float,
) -> NDArray[np.float64] | None:
    """Levels along a way that fall within the bounds everywhere, close to those of the ground.

    Levels that can be reached from both ends lie in a band; the ground's are drawn into it from
    the start on. None where the band is empty: the way is too short or too long for its fall.
    """
    at = chainage(points, np.zeros(len(points), dtype=np.int64))
    ground = surface_at(surface, grid, *points.T)
    left = at[-1] - at
    floor = np.maximum(ground[0] - most * at, low + least * left)
    roof = np.minimum(ground[0] - least * at, low + most * left)
    if not (floor <= roof + 1e-9).all():
        return None
    claim = np.clip(ground, floor, roof)
    step = np.diff(at)
    for i in range(1, len(at)):
        claim[i] = np.clip(
            claim[i], claim[i - 1] - most * step[i - 1], claim[i - 1] - least * step[i - 1]
        )
        claim[i] = min(max(claim[i], floor[i]), roof[i])
    return np.asarray(claim)
