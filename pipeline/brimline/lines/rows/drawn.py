"""Rows that a person has drawn, corrected to level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.ops import substring

from brimline.lines.contours import contours
from brimline.lines.measure import departures
from brimline.lines.sample import along, surface_at
from brimline.lines.tidy import tidied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.level_lines import Drawing


@dataclass(frozen=True, slots=True)
class Corrected:
    """A drawn row moved onto one level.

    Parameters
    ----------
    line : the corrected line, directed as drawn.
    level_m : level that it keeps [m].
    vertex_moved_m : float64 (vertices as drawn,), distance from each to the corrected line [m].
    vertex_level_m : float64 (vertices as drawn,), ground less level at each [m]: what digging on
        the line as drawn would have had to make up; NaN without data.
    """

    line: shapely.LineString
    level_m: float
    vertex_moved_m: NDArray[np.float64]
    vertex_level_m: NDArray[np.float64]

    @property
    def moved_m(self) -> float:
        """Farthest that a vertex was moved [m]."""
        return float(self.vertex_moved_m.max())

    @property
    def moved_level_m(self) -> float:
        """Largest height, either way, between a vertex and the level [m]; NaN without data."""
        known = self.vertex_level_m[np.isfinite(self.vertex_level_m)]
        return float(np.abs(known).max()) if known.size else float("nan")


def corrected(
    lines: Sequence[shapely.LineString],
    levels_m: Sequence[float | None],
    survey: Elevation,
    surface: Elevation,
    grid: Grid,
    *,
    drawing: Drawing,
    reach_m: float = 50.0,
) -> list[Corrected]:
    """Move drawn rows onto a level: the stretch of its contour that runs closest to them.

    A stretch between the points nearest to the ends of a row that is shorter than the row goes on
    along its contour, as far as that reaches.

    Where no level is given the row takes the median level of the ground along it, which moves it
    least. A row that has no contour of its level within `reach_m` stays as drawn; its departure
    then shows as level error.

    Parameters
    ----------
    lines : drawn lines; each must have a length.
    levels_m : level of each [m], or None for the best one.
    survey : float32 (rows, cols) [m]; the surface to be level on, NaN is nodata.
    surface : float32 (rows, cols) [m]; the survey smoothed, on which contours are traced.
    reach_m : how far around each row its contour is looked for [m].

    Raises
    ------
    GridError
        If an array does not lie on `grid`.
    ValueError
        If a line has no length or lies wholly outside the data.
    """
    moved, levels = [], []
    for number, (line, given) in enumerate(zip(lines, levels_m, strict=True)):
        level = _best_level(line, surface, grid, number) if given is None else float(given)
        moved.append(_along_contour(line, level, surface, grid, reach_m))
        levels.append(level)
    # on the surface that they were traced on: bending after the survey's noise makes none level
    smooth = tidied(
        moved,
        levels,
        surface,
        grid,
        bend_m=drawing.bend_m,
        tolerance_m=drawing.tolerance_m,
        simplify_m=drawing.simplify_m,
        guide=surface,
    )
    off_m = departures(smooth, levels, surface, grid).largest_m
    drawn = [
        trace.simplify(drawing.simplify_m) if off > drawing.tolerance_m else curve
        for curve, trace, off in zip(smooth, moved, off_m.tolist(), strict=True)
    ]
    return [
        _compared(line, new, level, survey, grid)
        for line, new, level in zip(lines, drawn, levels, strict=True)
    ]


def _best_level(line: shapely.LineString, surface: Elevation, grid: Grid, number: int) -> float:
    if not line.length > 0:
        raise ValueError(f"drawn row {number} has no length")
    points = along(line, grid.cell_m)
    level = surface_at(surface, grid, points[:, 0], points[:, 1])
    if not np.isfinite(level).any():
        raise ValueError(f"drawn row {number} lies outside the elevation data")
    return float(np.nanmedian(level))


def _along_contour(
    line: shapely.LineString, level_m: float, surface: Elevation, grid: Grid, reach_m: float
) -> shapely.LineString:
    """Return the stretch of contour between the points nearest to the row's ends."""
    window, part = around(line, surface, grid, reach_m)
    found = shapely.get_parts(contours(part, window, [level_m])[0]) if part.size else []
    if len(found) == 0:
        return line
    points = shapely.points(along(line, grid.cell_m))
    mean = [float(shapely.distance(points, contour).mean()) for contour in found]
    contour = found[int(np.argmin(mean))]
    if contour.is_ring and line.is_closed:
        return contour
    start, end = (
        contour.project(shapely.get_point(line, 0)),
        contour.project(shapely.get_point(line, -1)),
    )
    if not contour.is_ring:
        start, end = _as_long(start, end, line.length, contour.length)
    ways = [substring(contour, start, end)]
    if contour.is_ring:
        ways.append(_over_seam(contour, start, end))
    ways = [way for way in ways if way.length > 0]
    if not ways:
        return line
    return min(ways, key=lambda way: float(shapely.distance(points, way).mean()))


def _as_long(start: float, end: float, wanted: float, whole: float) -> tuple[float, float]:
    """Draw a stretch that came out short on along its contour, at both ends alike."""
    low, high = min(start, end), max(start, end)
    lack = wanted - (high - low)
    if lack <= 0 or high <= low:
        return start, end
    low = max(low - lack / 2, 0.0)
    high = min(low + wanted, whole)
    low = max(high - wanted, 0.0)
    return (low, high) if start < end else (high, low)


def _over_seam(ring: shapely.LineString, start_m: float, end_m: float) -> shapely.LineString:
    """Return the other way round a ring."""
    if start_m > end_m:
        parts = substring(ring, start_m, ring.length), substring(ring, 0.0, end_m)
    else:
        parts = substring(ring, start_m, 0.0), substring(ring, ring.length, end_m)
    points = [point for part in parts if part.length > 0 for point in part.coords]
    return shapely.remove_repeated_points(shapely.LineString(points or [ring.coords[0]] * 2))


def around(
    line: shapely.LineString, surface: Elevation, grid: Grid, reach_m: float
) -> tuple[Grid, Elevation]:
    """Cut the window around a line out of the surface."""
    west, south, east, north = line.bounds
    row, col = grid.cell([west - reach_m, east + reach_m], [north + reach_m, south - reach_m])
    r0, r1 = np.clip(row + np.array([0, 1]), 0, grid.rows)
    c0, c1 = np.clip(col + np.array([0, 1]), 0, grid.cols)
    part = surface[r0:r1, c0:c1]
    if part.size == 0 or np.isnan(part).all():
        return grid, part[:0, :0]
    return grid.window(int(r0), int(c0), int(r1 - r0), int(c1 - c0)), part


def _compared(
    line: shapely.LineString,
    new: shapely.LineString,
    level_m: float,
    survey: Elevation,
    grid: Grid,
) -> Corrected:
    vertices = shapely.get_coordinates(line)
    far = shapely.distance(shapely.points(vertices), new)
    height = surface_at(survey, grid, vertices[:, 0], vertices[:, 1]) - level_m
    return Corrected(new, level_m, np.asarray(far), height)
