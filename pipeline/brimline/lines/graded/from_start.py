"""A line that falls at a stated grade from a start point, to the left or the right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely

from brimline.grid import checked_same_shape
from brimline.lines.graded import _kernels
from brimline.lines.graded.drawing import line_array, start_level, with_vertices_on_grade
from brimline.lines.level_lines import Drawing
from brimline.lines.limits import Stop, cut
from brimline.lines.measure import departures
from brimline.lines.sample import checked_on_grid, gradient_at, surface_at
from brimline.lines.tidy import tidied

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.limits import Limits

Side = Literal["left", "right"]

_STEP: Final = 0.5  # cells between two points of a line that is followed
_STOPS: Final = {
    _kernels.FLAT: Stop.FLAT,
    _kernels.HOLLOW: Stop.HOLLOW,
    _kernels.LONG: Stop.NONE,
    _kernels.OFF: Stop.DATA_EDGE,
}


@dataclass(frozen=True, slots=True)
class GradedLine:
    """A line that falls along the ground, drawn downhill.

    Parameters
    ----------
    line : single-part, not crossing itself; the survey falls from each vertex to the next.
    from_level_m, to_level_m : levels of the survey at its ends [m].
    length_m : length along the ground plan [m].
    fall_pct : mean fall [%].
    fall_error_m : largest departure of the survey surface along the line from the straight fall
        between its ends [m].
    flags : codes of the flag catalogue.
    """

    line: shapely.LineString
    from_level_m: float
    to_level_m: float
    length_m: float
    fall_pct: float
    fall_error_m: float
    flags: tuple[str, ...]


def graded_line(
    start: tuple[float, float],
    run_per_fall: float,
    side: Side | tuple[float, float],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    *,
    max_length_m: float = 2000.0,
    drawing: Drawing = Drawing(),  # noqa: B008 frozen, so it can be shared
) -> GradedLine | None:
    """Follow the line that falls at 1 : n along the ground.

    On ground of slope s the line runs at the angle asin(1 / (n s)) from the contour. It ends at the
    limits, where the ground is flatter than its fall, where it has turned full circle in a hollow,
    or at its greatest length.

    Parameters
    ----------
    start : map coordinates [m].
    run_per_fall : n of 1 : n, metres along for a metre down.
    side : ``left`` or ``right`` of somebody who looks downhill from the start, or a point (x, y)
        towards which to set out.
    survey : float32 (rows, cols) [m]; the surface to measure against, NaN is nodata.
    surface : float32 (rows, cols) [m]; the survey smoothed, along which the line is followed.
    where : ground where no line may run.
    max_length_m : greatest length [m].
    drawing : tolerance, bends and vertices of the drawn line.

    Returns
    -------
    The line, or None where it cannot even set out: the start is outside the data or on blocked
    ground, or the ground there is flatter than the fall.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    ValueError
        If `run_per_fall` or `max_length_m` is not positive.
    """
    if not run_per_fall > 0 or not max_length_m > 0:
        raise ValueError(
            f"run_per_fall and max_length_m must be above 0, got {run_per_fall} and {max_length_m}"
        )
    survey = checked_on_grid(survey, grid, "survey")
    surface = checked_on_grid(surface, grid, "surface")
    checked_same_shape(surface=surface, blocked=where.blocked)
    if not may_set_out(start, grid, where):
        return None
    turn = _turn(start, side, surface, grid)
    points, stop = followed(
        start, 1.0 / run_per_fall, turn, surface, grid, where, max_length_m=max_length_m
    )
    if len(points) < 2:
        return None
    line, ended = _within_outlines(points, where, grid)
    if line is None:
        return None
    drawn = drawn_evenly(
        line, 1.0 / run_per_fall, survey, surface, grid, drawing=drawing, pinned=False
    )
    # drawing moves a line by a cell or so: what strays over a limit is cut again
    line, again = _within_outlines(shapely.get_coordinates(drawn), where, grid)
    if line is None:
        return None
    line = _ending_downhill(line, survey, grid)
    flags = {stop.flag if ended is None else ended.flag} if again is None else {again.flag}
    return described(line, survey, grid, flags, drawing.tolerance_m)


def drawn_evenly(
    line: shapely.LineString,
    fall: float,
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    *,
    drawing: Drawing,
    pinned: bool,
) -> shapely.LineString:
    """Draw a followed line as a smooth one that falls evenly on the survey from its start."""
    level = start_level(line.coords[0], survey, surface, grid)
    (smooth,) = tidied(
        line_array(line),
        level,
        survey,
        grid,
        bend_m=drawing.bend_m,
        tolerance_m=drawing.tolerance_m,
        simplify_m=drawing.simplify_m / 3,
        guide=surface,
        fall=fall,
        pinned="both" if pinned else "start",
    )
    claim = np.array([0.0, smooth.length]), level - fall * np.array([0.0, smooth.length])
    return with_vertices_on_grade(
        smooth, claim, survey, grid, simplify_m=drawing.simplify_m, keep_end=pinned
    )


def may_set_out(start: tuple[float, float], grid: Grid, where: Limits) -> bool:
    """Tell whether a point lies on free ground of the grid."""
    row, col = grid.cell(*start)
    return bool(grid.holds(row, col)) and where.blocked[int(row), int(col)] == Stop.NONE


def followed(
    start: tuple[float, float],
    fall: float,
    turn: int,
    surface: Elevation,
    grid: Grid,
    where: Limits,
    *,
    max_length_m: float,
) -> tuple[NDArray[np.float64], Stop]:
    """Return the points of a falling line [m] and why it ended; `turn` is 1 left and -1 right."""
    row, col = grid.position(*start)
    cells, why = _kernels.follow(
        surface,
        where.blocked,
        float(row),
        float(col),
        fall * grid.cell_m,
        float(turn),
        _STEP,
        max_length_m / grid.cell_m,
    )
    stop = _STOPS.get(int(why), None)
    return np.column_stack(grid.xy(cells[:, 0], cells[:, 1])), Stop(
        int(why)
    ) if stop is None else stop


def described(
    line: shapely.LineString,
    survey: Elevation,
    grid: Grid,
    flags: set[str],
    tolerance_m: float,
) -> GradedLine:
    """Measure a falling line against the survey."""
    ends = shapely.get_coordinates(line)[[0, -1]]
    high, low = surface_at(survey, grid, ends[:, 0], ends[:, 1])
    fall = float(high - low) / line.length
    off = departures(line_array(line), high, survey, grid, fall=fall).largest_m[0]
    if not off <= tolerance_m:
        flags = flags | {"fall-error"}
    return GradedLine(
        line=line,
        from_level_m=float(high),
        to_level_m=float(low),
        length_m=float(line.length),
        fall_pct=100.0 * fall,
        fall_error_m=float(off),
        flags=tuple(sorted(flags - {""})),
    )


def _turn(
    start: tuple[float, float], side: Side | tuple[float, float], surface: Elevation, grid: Grid
) -> int:
    if isinstance(side, str):
        if side not in ("left", "right"):
            raise ValueError(f"side must be left, right or a point, got {side!r}")
        return 1 if side == "left" else -1
    east, north = gradient_at(surface, grid, *start)
    # the left of downhill (-east, -north) is (north, -east)
    toward = float(north) * (side[0] - start[0]) - float(east) * (side[1] - start[1])
    return 1 if toward >= 0 else -1


def _within_outlines(
    points: NDArray[np.float64], where: Limits, grid: Grid
) -> tuple[shapely.LineString | None, Stop | None]:
    """End the line where it meets an outline exactly; its cells were only looked at by centre."""
    pieces = cut(line_array(shapely.LineString(points)), where, grid)
    for line, start, end in zip(pieces.lines, pieces.start, pieces.end, strict=True):
        if start == Stop.NONE:
            return line, Stop(int(end)) if end != Stop.NONE else None
    return None, None


def _ending_downhill(line: shapely.LineString, survey: Elevation, grid: Grid) -> shapely.LineString:
    """Draw back an end that was cut where the survey reads higher than at the vertex before."""
    points = shapely.get_coordinates(line)
    level = surface_at(survey, grid, points[:, 0], points[:, 1])
    last = len(points) - 1
    while last > 1 and not level[last] < level[last - 1]:
        last -= 1
    return shapely.LineString(points[: last + 1])
