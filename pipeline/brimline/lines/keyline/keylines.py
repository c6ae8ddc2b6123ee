"""Keylines: the level line through each keypoint, inside its valley."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

from brimline.lines.keyline.drift import crossings
from brimline.lines.keyline.following import LevelRun, level_run
from brimline.lines.level_lines import Drawing
from brimline.lines.measure import departures
from brimline.lines.sample import checked_on_grid
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


GuideKind = Literal["keypoint", "drawn", "chosen"]


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
    kind : through a keypoint, drawn by a person, or a level line that was chosen for its lines.
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
    kind: GuideKind = "keypoint"


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
        If an array is no elevation array on `grid`.
    ValueError
        If `half_length_m` is not above 0.
    """
    if not half_length_m > 0:
        raise ValueError(f"half_length_m must be above 0 m, got {half_length_m}")
    survey = checked_on_grid(survey, grid, "survey")
    surface = checked_on_grid(surface, grid, "surface")
    walls = _Walls(valleys, ridges)
    traced = [_course(one, surface, grid, valleys, walls, half_length_m) for one in keypoints]
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
            kind="keypoint" if keypoint.keypoint_id else "chosen",
        )
        for number, (line, (keypoint, _, floors)) in enumerate(zip(drawn, chosen, strict=True))
    ]


def level_flags(error_m: float, drawing: Drawing) -> tuple[str, ...]:
    """Flag of a line that departs from level by more than the tolerance."""
    return () if error_m <= drawing.tolerance_m else ("level-error",)


class _Walls:
    """Valley floors and ridge lines that a keyline may end at, in one index."""

    def __init__(self, valleys: Sequence[ValleyLine], ridges: Sequence[RidgeLine]) -> None:
        lines = [*(one.line for one in valleys), *(one.line for one in ridges)]
        self._index = shapely.STRtree(lines)
        self._valley_ids = [one.valley_id for one in valleys]

    def crossed(self, line: shapely.LineString, valley_id: int) -> list[float]:
        """Chainages at which a line crosses any but the floor of its own valley [m]."""
        near = np.sort(self._index.query(line))
        own = self._valley_ids.index(valley_id)
        return crossings(line, shapely.multilinestrings(self._index.geometries[near[near != own]]))


def _course(
    keypoint: Keypoint,
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    walls: _Walls,
    half_length_m: float,
) -> tuple[shapely.LineString, shapely.MultiLineString] | None:
    """Trace a keyline from ridge to ridge, and give the valley floor that it crosses."""
    run = level_run(
        surface,
        grid,
        (keypoint.point.x, keypoint.point.y),
        keypoint.level_m,
        reach_m=half_length_m,
        aside_m=_ASIDE_CELLS * grid.cell_m,
    )
    if run is None:
        return None
    floors = shapely.MultiLineString()
    if keypoint.valley_id:
        (valley,) = (one for one in valleys if one.valley_id == keypoint.valley_id)
        floors = shapely.multilinestrings([shapely.linestrings(valley.floor.xy)])
        start_m, end_m = run.chainage_m[[0, -1]]
        walls_m = walls.crossed(shapely.linestrings(run.xy), valley.valley_id)
        first_m, last_m = _between([start_m + wall for wall in walls_m], 0.0, start_m, end_m)
        down = _downstream(valley.floor, keypoint.point)
        slack_m = max(_SLACK_M, _ASIDE_CELLS * grid.cell_m)
        first_m = -_ridge_at(run, first_m, down, grid.cell_m, slack_m)
        last_m = _ridge_at(run, last_m, down, grid.cell_m, slack_m)
        run = run.between(first_m, last_m)
    return shapely.linestrings(run.xy), floors


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
    run: LevelRun, to_m: float, down: NDArray[np.float64], step_m: float, slack_m: float
) -> float:
    """Length along a line to where it lies farthest down before it turns back for good."""
    length = abs(to_m)
    along = np.linspace(0, length, max(int(np.ceil(length / step_m)), 1) + 1)
    gained = run.at(np.sign(to_m) * along) @ down
    most = np.maximum.accumulate(gained)
    back = np.flatnonzero(most - gained > slack_m)
    end = int(back[0]) if back.size else len(along)
    reached = np.flatnonzero(gained[:end] >= gained[:end].max() - _LEVEL_SHARE * slack_m)
    return float(along[reached[0]])
