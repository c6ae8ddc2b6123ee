"""Which of several courses are valleys of their own, and which are threads in one valley.

In a wide valley head water runs together from all sides, and each thread has higher ground beside
it along the contour. Two valleys are two only if a spur stands between them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.relief.courses import levels_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid

_NEAR_FLANKS = 4.0  # valleys farther from each other are two without asking
_JOINING_FLANKS = 2.0  # a valley that joins another runs no farther beside it
_STATIONS = 12  # places along a course at which the ground between is looked at
_ACROSS = 15  # places on the way from one course to the other
_PARTED_SHARE = 0.4  # of the stations that must show a spur


class Drawn:
    """The courses that were drawn so far, larger ones first.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; turned upside down for ridges.
    flank_m : what runs within this distance of a course does not count as another's own [m].
    least_m : a spur stands at least so high above the two floors at equal level [m].
    """

    def __init__(self, surface: Elevation, grid: Grid, *, flank_m: float, least_m: float) -> None:
        self._surface, self._grid = surface, grid
        self._flank_m, self._least_m = flank_m, least_m
        self._lines: list[shapely.LineString] = []
        self._floors: list[NDArray[np.float64]] = []
        self._beside: list[shapely.Polygon] = []

    def add(self, line: shapely.LineString, floor: NDArray[np.float64]) -> None:
        """Remember a line that is drawn and its whole floor, up to the divide; (n, 2)."""
        self._lines.append(line)
        self._floors.append(floor)
        self._beside.append(shapely.buffer(line, self._flank_m, quad_segs=4))

    def own_length_m(self, line: shapely.LineString) -> float:
        """Length of a line beyond `flank_m` of all drawn ones; 0 if no spur parts it from one."""
        if not self._lines:
            return float(line.length)
        tree = shapely.STRtree(self._lines)
        reach_m = _NEAR_FLANKS * self._flank_m
        near = np.sort(tree.query(line, predicate="dwithin", distance=reach_m))
        own = shapely.difference(line, shapely.union_all([self._beside[k] for k in near]))
        if own.length > 0 and all(self._parted(own, self._floors[k]) for k in near):
            return float(own.length)
        return 0.0

    def meets(self, xy: NDArray[np.float64]) -> tuple[int, int] | None:
        """Where a course begins to run beside a drawn line down to its own end.

        Two threads of one floor can keep apart for as long as the floor is smooth.

        Returns
        -------
        Place in `xy` and number of the line; None where it does not, or only as it joins.
        """
        if not self._lines:
            return None
        points = shapely.points(xy)
        reach_m = 0.5 * self._flank_m
        tree = shapely.STRtree(self._lines)
        near = np.sort(tree.query(shapely.LineString(xy), predicate="dwithin", distance=reach_m))
        if not near.size:
            return None
        away = np.array([shapely.distance(self._lines[k], points) for k in near])
        apart = np.flatnonzero(away.min(axis=0) > reach_m)
        first = int(apart[-1]) + 1 if apart.size else 0
        if first >= len(xy) - 1:
            return None
        beside = shapely.LineString(xy[first:]).length
        if beside <= _JOINING_FLANKS * self._flank_m:
            return None
        return first, int(near[away[:, first].argmin()])

    def _parted(self, own: shapely.Geometry, floor: NDArray[np.float64]) -> bool:
        """Whether ground stands between a line and the places of equal level on a floor."""
        stations = self._spread(own)
        levels = levels_at(self._surface, self._grid, stations)
        beside = levels_at(self._surface, self._grid, floor)
        shown = []
        for station, level in zip(stations, levels, strict=True):
            opposite = _at_level(floor, beside, level, station)
            if opposite is None:
                continue
            share = np.linspace(0, 1, _ACROSS + 2)[1:-1, None]
            way = station + share * (opposite - station)
            between = levels_at(self._surface, self._grid, way)
            between = between[np.isfinite(between)]
            shown.append(between.size > 0 and between.max() - level >= self._least_m)
        return not shown or float(np.mean(shown)) >= _PARTED_SHARE

    @staticmethod
    def _spread(own: shapely.Geometry) -> NDArray[np.float64]:
        longest = max(shapely.get_parts(own), key=lambda part: float(part.length))
        at = np.linspace(0, longest.length, _STATIONS)
        return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(longest, at)))


def _at_level(
    floor: NDArray[np.float64],
    levels: NDArray[np.float64],
    level: float,
    near: NDArray[np.float64],
) -> NDArray[np.float64] | None:
    """Find the place nearest to a point at which a floor passes a level; None if it does not."""
    above = levels - level
    with np.errstate(invalid="ignore"):
        passing = np.flatnonzero(above[:-1] * above[1:] <= 0)
    if not passing.size:
        return None
    rise = above[passing] - above[passing + 1]
    share = np.where(rise != 0, above[passing] / np.where(rise != 0, rise, 1.0), 0.5)[:, None]
    places = floor[passing] + share * (floor[passing + 1] - floor[passing])
    nearest: NDArray[np.float64] = places[int(np.hypot(*(places - near).T).argmin())]
    return nearest
