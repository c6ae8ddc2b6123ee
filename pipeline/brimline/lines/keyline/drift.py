"""Whether water on a line drifts from the valleys to the ridges."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.relief.courses import chainage, levels_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.grid import Elevation, Grid


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
    valleys = crossings(line, floors)
    tops = crossings(line, ridges)
    if not valleys and not floors.is_empty:
        valleys = [float(shapely.line_locate_point(line, _nearest_point(line, floors)))]
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


def _nearest_point(line: shapely.LineString, floors: BaseGeometry) -> shapely.Point:
    shortest = shapely.shortest_line(line, floors)
    return shapely.get_point(shortest, 0)


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
    along = chainage(vertices)
    fall_m = length_m = right_m = 0.0
    for part in parts:
        low, high = sorted((part.valley_m, part.ridge_m))
        low, high = max(low, start_m), min(high, end_m)
        if high - low < grid.cell_m:
            continue
        s = np.linspace(low, high, int(np.ceil(2 * (high - low) / grid.cell_m)) + 1)
        xy = np.column_stack([np.interp(s, along, vertices[:, k]) for k in (0, 1)])
        z = levels_at(surface, grid, xy)
        known = np.isfinite(z)
        if known.sum() < 2:
            continue
        s, z = s[known], z[known]
        if part.valley_m > part.ridge_m:
            s, z = -s[::-1], z[::-1]  # from the valley outwards
        middle = 0.5 * (s[1:] + s[:-1])
        half = 0.5 * over_m
        ahead, behind = np.minimum(middle + half, s[-1]), np.maximum(middle - half, s[0])
        falls = np.interp(behind, s, z) - np.interp(ahead, s, z)
        fall_m += float(z[0] - z[-1])
        length_m += float(s[-1] - s[0])
        right_m += float(np.diff(s)[falls > 0].sum())
    if length_m == 0.0:
        return Drift(float("nan"), float("nan"))
    return Drift(100 * fall_m / length_m, 100 * right_m / length_m)
