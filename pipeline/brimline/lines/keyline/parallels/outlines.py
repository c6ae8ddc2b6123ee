"""Parallels by way of offset curves of whole shapes, one line at a time.

Much slower than `strands`, and astray by centimetres, but at home with any guide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SAGITTA_M = 0.01  # largest departure of an arc's chords from the arc
_ASTRAY_M = 0.05  # a piece nearer by this than it should be is no part of a parallel
_ASIDE_M = 0.1  # to both sides of a place, for the direction of the guide there
DRAWN_M = 0.02  # largest departure of a drawn line from its exact course


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
    checked(guide, turning_radius_m)
    away = float(np.copysign(1.0, offset_m))
    lines = _offset([guide], offset_m + away * turning_radius_m)
    # out by the radius and back rounds bends towards the line, and the other way round; a line that
    # is farther from the guide than the radius has no tighter bends away from it to begin with
    if abs(offset_m) >= turning_radius_m > 0:
        lines = _offset(lines, -away * turning_radius_m)
    elif turning_radius_m > 0:
        lines = _offset(lines, -2 * away * turning_radius_m)
        lines = _offset(lines, away * turning_radius_m)
    return _drawn(lines, guide)


def _ground(guide: shapely.LineString, offset_m: float, turning_radius_m: float) -> Any:  # noqa: ANN401
    """Outline of what lies within a distance of a guide, its inward turns rounded to the radius."""
    out_m = offset_m + turning_radius_m
    ground = shapely.buffer(guide, out_m, quad_segs=_arc_points(out_m))
    if turning_radius_m > 0:
        quad_segs = _arc_points(turning_radius_m)
        ground = shapely.buffer(ground, -turning_radius_m, quad_segs=quad_segs)
    return ground


def tractor_way(
    guide: shapely.LineString, offset_m: float, turning_radius_m: float
) -> tuple[shapely.LineString, ...]:
    """Draw `parallel`, and of lines closer to the guide than the radius what can be driven.

    Such lines round the guide's own sharp bends. Where that takes them across half the way to the
    guide or to the next pass, nothing of them is left: no tractor goes there.
    """
    lines = parallel(guide, offset_m, turning_radius_m=turning_radius_m)
    away_m = abs(offset_m)
    if away_m >= turning_radius_m:
        return lines
    belt = shapely.difference(
        _ground(guide, 1.5 * away_m, turning_radius_m), shapely.buffer(guide, 0.5 * away_m)
    )
    parts: Any = shapely.get_parts(
        [shapely.line_merge(shapely.intersection(line, belt)) for line in lines]
    )
    whole = [part for part in parts if part.geom_type == "LineString" and part.length > 0]
    return _drawn([part for part in whole if _is_left(part, guide) == (offset_m > 0)], guide)


def _is_left(line: shapely.LineString, guide: shapely.LineString) -> bool:
    """Whether a line lies to the left of the guide that it is parallel to."""
    middle = shapely.get_coordinates(line.interpolate(0.5, normalized=True))[0]
    at_m = guide.project(shapely.Point(middle))
    ends = [guide.interpolate(at_m + step) for step in (-_ASIDE_M, _ASIDE_M)]
    (x0, y0), (x1, y1) = (shapely.get_coordinates(end)[0] for end in ends)
    x, y = middle - shapely.get_coordinates(guide.interpolate(at_m))[0]
    return bool((x1 - x0) * y - (y1 - y0) * x > 0)


def checked(guide: shapely.LineString, turning_radius_m: float) -> None:
    """Refuse what no parallel can be drawn to.

    Raises
    ------
    ValueError
        As `parallel`.
    """
    if turning_radius_m < 0:
        raise ValueError(f"turning_radius_m must not be negative, got {turning_radius_m} m")
    if guide.is_empty or not guide.is_simple:
        raise ValueError("a guide line must have a length and must not cross itself")


def _drawn(
    lines: list[shapely.LineString], guide: shapely.LineString
) -> tuple[shapely.LineString, ...]:
    drawn = (shapely.simplify(line, DRAWN_M) for line in lines)
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


def arc_step(radius_m: float) -> float:
    """Angle between points of an arc whose chords depart from it by no more than lines may."""
    if radius_m == 0:
        return float(np.pi)
    return float(2 * np.arccos(1.0 - min(_SAGITTA_M / abs(radius_m), 0.5)))


def _arc_points(radius_m: float) -> int:
    """Chords in a quarter circle that do so."""
    return max(int(np.ceil(np.pi / 2 / arc_step(radius_m))), 4)


def _along_guide(line: shapely.LineString, guide: shapely.LineString) -> shapely.LineString:
    """Turn a line into the direction of the guide beside it."""
    ends: NDArray[Any] = shapely.points(shapely.get_coordinates(line)[[0, -1]])
    first, last = shapely.line_locate_point(guide, ends)
    return shapely.reverse(line) if last < first else line
