"""Keylines: the level line through each keypoint, inside its valley."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import ops

from brimline.errors import GridError
from brimline.lines.contours import contours
from brimline.lines.keyline.drift import crossings
from brimline.lines.level_lines import Drawing
from brimline.lines.measure import departures
from brimline.lines.tidy import tidied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.keypoints import Keypoint
    from brimline.lines.relief import Course, RidgeLine, ValleyLine

_SLACK_M = 3.0  # a line that turns back by less has not come round the ridge
_LEVEL_SHARE = 0.1  # of that slack: so close to the farthest place is there
_DIRECTION_M = 75.0  # distance up and down the floor over which its direction is taken
_ASIDE_CELLS = 2.0  # farther from its keypoint a level line is another one


@dataclass(frozen=True, slots=True)
class Keyline:
    """The level line through a keypoint from ridge to ridge, or a guide line that was chosen.

    Parameters
    ----------
    keyline_id : number, from 1.
    keypoint_id : the keypoint; 0 for a guide line that a person drew.
    line : with the higher ground on its right.
    level_m : of the keypoint; of a drawn line the mean along it [m].
    length_m : along the ground plan [m].
    level_error_m : largest departure of the drawn line from its level on the survey [m].
    level_rms_m : root mean square of that departure [m].
    flags : codes of the flag catalogue.
    floors, ridges : courses of the valley floors and ridges that it may cross; where no ridge is
        given its ends are ridges.
    """

    keyline_id: int
    keypoint_id: int
    line: shapely.LineString
    level_m: float
    length_m: float
    level_error_m: float
    level_rms_m: float
    flags: tuple[str, ...]
    floors: shapely.MultiLineString
    ridges: shapely.MultiLineString


def keyline(
    keypoint: Keypoint,
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    ridges: Sequence[RidgeLine] = (),
    *,
    half_length_m: float = 250.0,
    drawing: Drawing = Drawing(),  # noqa: B008 frozen, so it can be shared
    keyline_id: int = 1,
) -> Keyline | None:
    """Trace the level line through one keypoint; None where there is none. See `keylines`."""
    found = keylines(
        [keypoint], survey, surface, grid, valleys, ridges,
        half_length_m=half_length_m, drawing=drawing, first_id=keyline_id,
    )  # fmt: skip
    return found[0] if found else None


def keylines(
    keypoints: Sequence[Keypoint],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    ridges: Sequence[RidgeLine] = (),
    *,
    half_length_m: float = 250.0,
    drawing: Drawing = Drawing(),  # noqa: B008 frozen, so it can be shared
    first_id: int = 1,
) -> list[Keyline]:
    """Trace the level line through each keypoint from the ridge on one side to that on the other.

    From the keypoint a line runs out of the valley along its flanks, gaining ground in the
    direction in which the valley falls, until it comes round the ridge and turns back. It ends
    there: where it lies farthest down the valley before it first turns back for good, or where it
    crosses a ridge line or another valley before.

    Parameters
    ----------
    survey : float32 (rows, cols) [m]
        The surface to be level on; NaN is nodata.
    surface : float32 (rows, cols) [m]
        The survey smoothed as stated, on which lines are traced.
    grid : where the cells are.
    valleys : that the keypoints were found in; other valleys are not crossed.
    ridges : ridge lines at which lines end.
    half_length_m : longest run to either side, for hillsides without a ridge [m].
    drawing : how they are smoothed, and when their error is flagged.
    first_id : number of the first line.

    Returns
    -------
    In the order of the keypoints, numbered without gaps. A keypoint has none where the level line
    does not pass within two cells of it, because it lies on a summit, in a pit or on level ground,
    or where the line is too short.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    ValueError
        If `half_length_m` is not above 0.
    """
    if not half_length_m > 0:
        raise ValueError(f"half_length_m must be above 0 m, got {half_length_m}")
    for name, dem in (("survey", survey), ("surface", surface)):
        if dem.shape != grid.shape:
            raise GridError(f"{name} {dem.shape} does not lie on the grid of shape {grid.shape}")
    traced = [_course(one, surface, grid, valleys, ridges, half_length_m) for one in keypoints]
    least_m = max(drawing.min_length_m, 2 * grid.cell_m)
    chosen = [
        (keypoint, *found)
        for keypoint, found in zip(keypoints, traced, strict=True)
        if found is not None and found[0].length >= least_m
    ]
    levels = np.array([keypoint.level_m for keypoint, *_ in chosen])
    drawn = tidied(
        [line for _, line, _ in chosen],
        levels,
        survey,
        grid,
        bend_m=drawing.bend_m,
        tolerance_m=drawing.tolerance_m,
        simplify_m=drawing.simplify_m,
        guide=surface,
    )
    off = departures(drawn, levels, survey, grid)
    return [
        Keyline(
            keyline_id=first_id + number,
            keypoint_id=keypoint.keypoint_id,
            line=line,
            level_m=keypoint.level_m,
            length_m=float(line.length),
            level_error_m=float(off.largest_m[number]),
            level_rms_m=float(off.rms_m[number]),
            flags=level_flags(off.largest_m[number], drawing),
            floors=floors,
            ridges=shapely.MultiLineString(),
        )
        for number, (line, (keypoint, _, floors)) in enumerate(zip(drawn, chosen, strict=True))
    ]


def level_flags(error_m: float, drawing: Drawing) -> tuple[str, ...]:
    """Flag of a line that departs from level by more than the tolerance."""
    return () if error_m <= drawing.tolerance_m else ("level-error",)


def _course(
    keypoint: Keypoint,
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    ridges: Sequence[RidgeLine],
    half_length_m: float,
) -> tuple[shapely.LineString, shapely.MultiLineString] | None:
    """Trace a keyline from ridge to ridge, and give the valley floor that it crosses."""
    # everything happens around the keypoint: the rest of a large survey need not be looked at
    traced = _level_line(keypoint, *_around(surface, grid, keypoint.point, half_length_m))
    if traced is None:
        return None
    line, at_m = traced
    floors = shapely.MultiLineString()
    first_m, last_m = max(at_m - half_length_m, 0.0), min(at_m + half_length_m, line.length)
    if keypoint.valley_id:
        (valley,) = (one for one in valleys if one.valley_id == keypoint.valley_id)
        floors = shapely.MultiLineString([valley.floor.xy])
        walls = [one.line for one in valleys if one is not valley] + [one.line for one in ridges]
        walls_m = crossings(line, shapely.MultiLineString(walls))
        first_m, last_m = _between(walls_m, at_m, first_m, last_m)
        down = _downstream(valley.floor, keypoint.point)
        slack_m = max(_SLACK_M, _ASIDE_CELLS * grid.cell_m)
        first_m = at_m - _ridge_at(line, at_m, first_m, down, grid.cell_m, slack_m)
        last_m = at_m + _ridge_at(line, at_m, last_m, down, grid.cell_m, slack_m)
    return ops.substring(line, first_m, last_m), floors


def _level_line(
    keypoint: Keypoint, surface: Elevation, grid: Grid
) -> tuple[shapely.LineString, float] | None:
    """Trace the level line that passes a keypoint; also the chainage at which it does."""
    if not np.isfinite(surface).any():
        return None
    (level_lines,) = contours(surface, grid, [keypoint.level_m])
    pieces = shapely.get_parts(level_lines)
    if not len(pieces):
        return None
    away = shapely.distance(pieces, keypoint.point)
    nearest = int(np.argmin(away))
    if away[nearest] > _ASIDE_CELLS * grid.cell_m:
        return None
    return _opened(pieces[nearest], keypoint.point)


def _around(
    surface: Elevation, grid: Grid, point: shapely.Point, reach_m: float
) -> tuple[Elevation, Grid]:
    """Cut out the block of cells around a point."""
    (row, col), reach = grid.cell(point.x, point.y), int(reach_m / grid.cell_m) + 2
    r0, c0 = max(int(row) - reach, 0), max(int(col) - reach, 0)
    block = surface[r0 : int(row) + reach + 1, c0 : int(col) + reach + 1]
    return block, grid.window(r0, c0, *block.shape)


def _opened(line: shapely.LineString, point: shapely.Point) -> tuple[shapely.LineString, float]:
    """Open a ring opposite to a point; return the line and the chainage of the point on it."""
    at_m = float(shapely.line_locate_point(line, point))
    if not line.is_ring:
        return line, at_m
    half = 0.5 * line.length
    twice = np.concatenate([shapely.get_coordinates(line), shapely.get_coordinates(line)[1:]])
    start = at_m + half if at_m < half else at_m - half
    opened = ops.substring(shapely.LineString(twice), start, start + line.length)
    return opened, half


def _between(
    walls_m: list[float], at_m: float, first_m: float, last_m: float
) -> tuple[float, float]:
    """Return the stretch around a place on a line in which no wall is crossed."""
    before = [wall for wall in walls_m if wall < at_m]
    after = [wall for wall in walls_m if wall > at_m]
    return max([first_m, *before]), min([last_m, *after])


def _downstream(floor: Course, point: shapely.Point) -> NDArray[np.float64]:
    """Direction in which a valley falls at a point; unit vector."""
    along = floor.nearest_m((point.x, point.y))
    ends = floor.at(np.array([along - _DIRECTION_M, along + _DIRECTION_M]))
    way = ends[1] - ends[0]
    return np.asarray(way / np.hypot(*way))


def _ridge_at(
    line: shapely.LineString,
    from_m: float,
    to_m: float,
    down: NDArray[np.float64],
    step_m: float,
    slack_m: float,
) -> float:
    """Length along a line to where it lies farthest down before it turns back for good."""
    length = abs(to_m - from_m)
    run = np.linspace(0, length, max(int(np.ceil(length / step_m)), 1) + 1)
    points = shapely.line_interpolate_point(line, from_m + np.sign(to_m - from_m) * run)
    gained = shapely.get_coordinates(points) @ down
    most = np.maximum.accumulate(gained)
    back = np.flatnonzero(most - gained > slack_m)
    end = int(back[0]) if back.size else len(run)
    reached = np.flatnonzero(gained[:end] >= gained[:end].max() - _LEVEL_SHARE * slack_m)
    return float(run[reached[0]])
