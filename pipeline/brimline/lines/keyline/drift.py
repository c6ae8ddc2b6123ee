"""Whether water on a line drifts from the valleys to the ridges."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines import _kernels
from brimline.lines.plane import crossings as crossings_of
from brimline.lines.plane import legs_of
from brimline.lines.relief.courses import chainage
from brimline.lines.sample import frame_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import Elevation, Grid
    from brimline.lines.plane import Legs

_ONE_PLACE_M = 1e-6


@dataclass(frozen=True, slots=True)
class Half:
    """Part of a line between a valley and a ridge.

    Parameters
    ----------
    valley_m, ridge_m : chainages of its ends; the valley's may be the larger [m].
    """

    valley_m: float
    ridge_m: float


@dataclass(frozen=True, slots=True)
class Drift:
    """How a line falls from its valleys to its ridges.

    Parameters
    ----------
    fall_pct : mean fall towards the ridges; NaN where it is not known which way they lie [%].
    share_right_pct : share of the length that falls towards a ridge; NaN likewise [%].
    """

    fall_pct: float
    share_right_pct: float


@dataclass(frozen=True, slots=True, eq=False)
class CrossedMarks:
    """Valley floors and ridges that a keyline and the lines beside it may cross."""

    floors: BaseGeometry
    floor_legs: Legs
    ridge_legs: Legs

    def halves(self, line: shapely.LineString) -> list[Half]:
        """Divide a line where it crosses the floors and ridges; see `halves`."""
        xy = shapely.get_coordinates(line)
        valleys = _places(xy, self.floor_legs)
        tops = _places(xy, self.ridge_legs)
        if not valleys and len(self.floor_legs):
            nearest = shapely.get_point(shapely.shortest_line(line, self.floors), 0)
            valleys = [float(shapely.line_locate_point(line, nearest))]
        marks = sorted([(place, True) for place in valleys] + [(place, False) for place in tops])
        if not marks:
            return []
        full = [(0.0, not marks[0][1])]
        for place, is_valley in marks:
            before, was_valley = full[-1]
            if was_valley == is_valley:
                full.append((0.5 * (before + place), not is_valley))
            full.append((place, is_valley))
        full.append((float(line.length), not full[-1][1]))
        found = []
        for (one, is_valley), (other, _) in pairwise(full):
            if other > one:
                found.append(Half(one, other) if is_valley else Half(other, one))
        return found


def marks_of(floors: BaseGeometry, ridges: BaseGeometry) -> CrossedMarks:
    """Make floors and ridges ready for the many lines that are divided by them."""
    return CrossedMarks(floors, legs_of(floors), legs_of(ridges))


def halves(line: shapely.LineString, floors: BaseGeometry, ridges: BaseGeometry) -> list[Half]:
    """Divide a line at the valley floors and ridges that it crosses.

    A line that crosses no floor is nearest to one somewhere: it is taken to lie on the flank of
    that valley, which begins there. Between two valleys with no ridge drawn, the ridge is taken to
    be half-way, and so with two ridges. The ends of a line are ridges beside a valley, and valleys
    beside a ridge.

    Returns
    -------
    From the start of the line to its end; empty where neither floors nor ridges are known.
    """
    return marks_of(floors, ridges).halves(line)


def _places(line: NDArray[np.float64], others: Legs) -> list[float]:
    """Chainages at which a line crosses others; where two of their legs meet on it, one."""
    found: list[float] = []
    for place in crossings_of(line, others).tolist():
        if not found or place - found[-1] > _ONE_PLACE_M:
            found.append(place)
    return found


def crossings(line: shapely.LineString, others: BaseGeometry) -> list[float]:
    """Chainages at which a line meets others, rising [m]."""
    if others.is_empty:
        return []
    points = shapely.get_coordinates(shapely.intersection(line, others))
    places = shapely.line_locate_point(line, shapely.points(points))
    return sorted(float(place) for place in np.atleast_1d(places))


def drift(
    surface: Elevation,
    grid: Grid,
    line: shapely.LineString,
    parts: Sequence[Half],
    start_m: float,
    end_m: float,
    *,
    over_m: float,
) -> Drift:
    """Measure the fall of the ground along a piece of a line, from valleys towards ridges.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the survey, smoothed as stated.
    parts : of the whole line, from `halves`.
    start_m, end_m : chainages of the piece [m].
    over_m : distance over which the fall at each place is taken; shorter at the ends of a half [m].
    """
    vertices = shapely.get_coordinates(line)
    ends = np.array([(part.valley_m, part.ridge_m) for part in parts]).reshape(-1, 2)
    fall_m, length_m, right_m = _kernels.drift(
        surface, frame_of(grid),
        vertices, chainage(vertices), ends, start_m, end_m, 0.5 * over_m,
    )  # fmt: skip
    if length_m == 0.0:
        return Drift(float("nan"), float("nan"))
    return Drift(100 * fall_m / length_m, 100 * right_m / length_m)
