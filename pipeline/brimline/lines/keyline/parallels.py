"""Lines parallel to a guide, at an exact distance and no tighter than a tractor turns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.relief.courses import smoothed_along

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SAGITTA_M = 0.015  # largest departure of an arc's chords from the arc
_EASED_STEP_M = 1.0
_EASED_M = 0.005  # largest departure of an eased guide from its smooth curve
_ASTRAY_M = 0.05  # a piece nearer by this than it should be is no part of a parallel
_DRAWN_M = 0.02  # largest departure of a drawn line from its exact course


def eased(guide: shapely.LineString, turning_radius_m: float) -> shapely.LineString:
    """Take the corners of its vertices off a drawn guide, which parallels would repeat.

    Bends much shorter than the turning radius go; longer ones, and the ends, stay where they are.
    """
    if turning_radius_m == 0 or guide.length < turning_radius_m:
        return guide
    count = int(np.ceil(guide.length / _EASED_STEP_M)) + 1
    at = np.linspace(0.0, guide.length, count)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(guide, at))
    sigma = 0.5 * turning_radius_m / (guide.length / (count - 1))
    once = smoothed_along(xy, sigma)
    # smoothing draws a curve inwards; what it took is smoothed and given back
    line = shapely.LineString(once + smoothed_along(xy - once, sigma)).simplify(_EASED_M)
    return line if line.is_simple else guide


def parallel(
    guide: shapely.LineString, offset_m: float, *, turning_radius_m: float
) -> tuple[shapely.LineString, ...]:
    """Draw the line at a distance to the left of a guide, directed as the guide.

    Where the guide bends so much towards the line that an exact parallel would turn tighter than
    the radius, or cross itself, the turn is rounded to the radius; everywhere else the distance is
    exact. Bends of the guide itself that are tighter than the radius are rounded likewise.

    Parameters
    ----------
    guide : without self-crossings.
    offset_m : distance to the left; negative to the right [m].
    turning_radius_m : tightest turn; 0 rounds nothing [m].

    Returns
    -------
    Usually one line; none where the guide leaves no room, several where it closes in on itself.
    Each is simple, its points as dense as its bends need.

    Raises
    ------
    ValueError
        If the radius is negative, or the guide is empty or crosses itself.
    """
    if turning_radius_m < 0:
        raise ValueError(f"turning_radius_m must not be negative, got {turning_radius_m} m")
    if guide.is_empty or not guide.is_simple:
        raise ValueError("a guide line must have a length and must not cross itself")
    away = float(np.copysign(1.0, offset_m))
    lines = _offset([guide], offset_m + away * turning_radius_m)
    # out by the radius and back rounds bends towards the line, and the other way round; a line that
    # is farther from the guide than the radius has no tighter bends away from it to begin with
    if abs(offset_m) >= turning_radius_m > 0:
        lines = _offset(lines, -away * turning_radius_m)
    elif turning_radius_m > 0:
        lines = _offset(lines, -2 * away * turning_radius_m)
        lines = _offset(lines, away * turning_radius_m)
    drawn = (shapely.simplify(line, _DRAWN_M) for line in lines)
    return tuple(_along_guide(line, guide) for line in drawn if line.length > 0 and line.is_simple)


def _offset(lines: list[shapely.LineString], distance_m: float) -> list[shapely.LineString]:
    """Lines at a distance to the left, in the direction of those that are given."""
    found: list[shapely.LineString] = []
    for line in lines:
        if distance_m == 0:
            found.append(line)
            continue
        curve = shapely.offset_curve(
            line, distance_m, quad_segs=_arc_points(distance_m), join_style="round"
        )
        parts: Any = shapely.get_parts(shapely.line_merge(curve))
        shapely.prepare(line)
        # where a line closes in on itself, pieces of the raw curve are left over now and then
        true = shapely.distance(line, parts) >= abs(distance_m) - _ASTRAY_M
        found += [_along_guide(part, line) for part in parts[true] if part.length > 0]
    return found


def _arc_points(radius_m: float) -> int:
    """Chords in a quarter circle that depart from it by no more than lines may."""
    half = np.arccos(1.0 - min(_SAGITTA_M / abs(radius_m), 0.5))
    return max(int(np.ceil(np.pi / 4 / half)), 4)


def _along_guide(line: shapely.LineString, guide: shapely.LineString) -> shapely.LineString:
    """Turn a line into the direction of the guide beside it."""
    ends: NDArray[Any] = shapely.points(shapely.get_coordinates(line)[[0, -1]])
    first, last = shapely.line_locate_point(guide, ends)
    return shapely.reverse(line) if last < first else line
