"""Guide lines that a person drew: cultivation lines follow them as they do a keyline."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.keyline.keylines import Keyline, level_flags
from brimline.lines.level_lines import Drawing
from brimline.lines.measure import departures
from brimline.lines.sample import along, checked_on_grid, gradient_at, onto_level, surface_at
from brimline.lines.tidy import tidied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.grid import Elevation, Grid
    from brimline.lines.relief import RidgeLine, ValleyLine

_CORRECTED_M = 50.0  # farthest that a drawn line is moved to come level


def guide_line(
    line: shapely.LineString,
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    ridges: Sequence[RidgeLine] = (),
    *,
    corrected: bool = False,
    drawing: Drawing = Drawing(),  # noqa: B008 frozen, so it can be shared
    keyline_id: int = 1,
) -> Keyline:
    """Take a line that a person drew as the guide of cultivation, with its higher ground right.

    Parameters
    ----------
    survey, surface : as for `keyline`.
    valleys, ridges : all that it may cross.
    corrected : move it to the level that it has in the mean; otherwise it stays as it was drawn.

    Returns
    -------
    Its `level_error_m` shows how far from level it is; only a corrected line is flagged for it.

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    ValueError
        If the line lies outside the data or crosses itself.
    """
    if line.is_empty or not line.is_simple:
        raise ValueError("a guide line must have a length and must not cross itself")
    points = along(line, grid.cell_m)
    levels = surface_at(checked_on_grid(surface, grid, "surface"), grid, *points.T)
    if not np.isfinite(levels).any():
        raise ValueError("the guide line lies outside the elevation")
    level_m = float(np.nanmean(levels))
    if corrected:
        at = onto_level(surface, grid, points, level_m, reach_m=_CORRECTED_M)
        (line,) = tidied(
            [shapely.LineString(at)],
            level_m,
            survey,
            grid,
            bend_m=drawing.bend_m,
            tolerance_m=drawing.tolerance_m,
            simplify_m=drawing.simplify_m,
            guide=surface,
        )
        points = along(line, grid.cell_m)
    east, north = gradient_at(surface, grid, *(0.5 * (points[1:] + points[:-1])).T)
    d_east, d_north = np.diff(points, axis=0).T
    if np.nansum(d_east * north - d_north * east) > 0:  # the ground rises to the left
        line = shapely.reverse(line)
    off = departures([line], level_m, survey, grid)
    error_m = float(off.largest_m[0])
    return Keyline(
        keyline_id=keyline_id,
        keypoint_id=0,
        line=line,
        level_m=level_m,
        length_m=float(line.length),
        level_error_m=error_m,
        level_rms_m=float(off.rms_m[0]),
        flags=level_flags(error_m, drawing) if corrected else (),
        floors=shapely.MultiLineString([valley.floor.xy for valley in valleys]),
        ridges=shapely.MultiLineString([ridge.line for ridge in ridges]),
        kind="drawn",
    )
