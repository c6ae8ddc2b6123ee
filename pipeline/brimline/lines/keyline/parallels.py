"""Lines parallel to a guide, at an exact distance and no tighter than a tractor turns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.relief.courses import smoothed_along

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SAGITTA_M = 0.01  # largest departure of an arc's chords from the arc
_EASED_STEP_M = 1.0
_EASED_M = 0.005  # largest departure of an eased guide from its smooth curve
_ASTRAY_M = 0.05  # a piece nearer by this than it should be is no part of a parallel
_CAP_M = 0.2  # behind an end of the guide, where the rim of its ground goes round it
_ASIDE_M = 0.1  # to both sides of a place, for the direction of the guide there
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
    _checked(guide, turning_radius_m)
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


def parallels(
    guide: shapely.LineString, offset_m: float, *, turning_radius_m: float
) -> tuple[tuple[shapely.LineString, ...], tuple[shapely.LineString, ...]]:
    """Draw `parallel` to the left and to the right of a guide, both from one outline.

    The ground within the distance and the radius, drawn in by the radius, has both lines for its
    rim, their turns rounded; it costs a fraction of what the lines cost one by one.

    Parameters
    ----------
    offset_m : distance to either side [m].

    Raises
    ------
    ValueError
        As `parallel`, or if the distance is not above 0.
    """
    _checked(guide, turning_radius_m)
    if not offset_m > 0:
        raise ValueError(f"offset_m must be above 0 m, got {offset_m}")
    if offset_m < turning_radius_m:
        left, right = _close_beside(guide, offset_m, turning_radius_m)
        return left, right
    sides = _rims(guide, offset_m, turning_radius_m) if not guide.is_ring else None
    if sides is None:
        left, right = (
            parallel(guide, side * offset_m, turning_radius_m=turning_radius_m) for side in (1, -1)
        )
        return left, right
    return sides


def _rims(
    guide: shapely.LineString, offset_m: float, turning_radius_m: float
) -> tuple[tuple[shapely.LineString, ...], tuple[shapely.LineString, ...]] | None:
    """Both sides of the ground beside a guide; None where its outline went wrong."""
    ground = _ground(guide, offset_m, turning_radius_m)
    shapely.prepare(guide)
    sides: tuple[list[shapely.LineString], list[shapely.LineString]] = ([], [])
    for part in shapely.get_parts(ground):
        if part.intersects(guide):
            for ring in (part.exterior, *part.interiors):
                for line in _without_caps(ring, guide, offset_m + turning_radius_m + _ASTRAY_M):
                    sides[0 if _is_left(line, guide) else 1].append(line)
    left, right = (_drawn(lines, guide) for lines in sides)
    if (shapely.distance(guide, [*left, *right]) < offset_m - _ASTRAY_M).any():
        return None  # now and then an outline cuts across
    return left, right


def _ground(guide: shapely.LineString, offset_m: float, turning_radius_m: float) -> Any:  # noqa: ANN401
    """Outline of what lies within a distance of a guide, its inward turns rounded to the radius."""
    out_m = offset_m + turning_radius_m
    ground = shapely.buffer(guide, out_m, quad_segs=_arc_points(out_m))
    if turning_radius_m > 0:
        quad_segs = _arc_points(turning_radius_m)
        ground = shapely.buffer(ground, -turning_radius_m, quad_segs=quad_segs)
    return ground


def _close_beside(
    guide: shapely.LineString, offset_m: float, turning_radius_m: float
) -> list[tuple[shapely.LineString, ...]]:
    """Draw the parallels that lie closer to the guide than the radius.

    They round the guide's own sharp bends. Where that takes them across half the way to the guide
    or to the next pass, nothing of them is left: no tractor goes there.
    """
    belt = shapely.difference(
        _ground(guide, 1.5 * offset_m, turning_radius_m), shapely.buffer(guide, 0.5 * offset_m)
    )
    found = []
    for side in (1, -1):
        lines = parallel(guide, side * offset_m, turning_radius_m=turning_radius_m)
        parts: Any = shapely.get_parts(
            [shapely.line_merge(shapely.intersection(line, belt)) for line in lines]
        )
        whole = [part for part in parts if part.geom_type == "LineString" and part.length > 0]
        whole = [part for part in whole if _is_left(part, guide) == (side > 0)]
        found.append(_drawn(whole, guide))
    return found


def _without_caps(
    ring: shapely.LinearRing, guide: shapely.LineString, reach_m: float
) -> list[shapely.LineString]:
    """Parts of a rim that do not go round an end of the guide, which they do within a reach."""
    points = shapely.get_coordinates(ring)[:-1]
    along = shapely.get_coordinates(guide)
    cap = np.zeros(len(points), dtype=np.bool_)
    for end, inner in ((along[0], along[1]), (along[-1], along[-2])):
        onward = (inner - end) / np.hypot(*(inner - end))
        away = points - end
        far = np.hypot(*away.T)
        behind = np.flatnonzero((away @ onward < -_CAP_M) & (far <= reach_m))
        nearest = shapely.distance(guide, shapely.points(points[behind]))
        cap[behind[far[behind] <= nearest + _ASTRAY_M]] = True
    if not cap.any():
        return [shapely.LineString(ring)]
    points, cap = (np.roll(part, -int(cap.argmax()), axis=0) for part in (points, cap))
    edge = np.flatnonzero(np.diff(np.concatenate(([True], cap, [True])).astype(np.int8)))
    return [
        shapely.LineString(points[first:beyond])
        for first, beyond in edge.reshape(-1, 2)
        if beyond - first > 1
    ]


def _is_left(line: shapely.LineString, guide: shapely.LineString) -> bool:
    """Whether a line lies to the left of the guide that it is parallel to."""
    middle = shapely.get_coordinates(line.interpolate(0.5, normalized=True))[0]
    at_m = guide.project(shapely.Point(middle))
    ends = [guide.interpolate(at_m + step) for step in (-_ASIDE_M, _ASIDE_M)]
    (x0, y0), (x1, y1) = (shapely.get_coordinates(end)[0] for end in ends)
    x, y = middle - shapely.get_coordinates(guide.interpolate(at_m))[0]
    return bool((x1 - x0) * y - (y1 - y0) * x > 0)


def _checked(guide: shapely.LineString, turning_radius_m: float) -> None:
    if turning_radius_m < 0:
        raise ValueError(f"turning_radius_m must not be negative, got {turning_radius_m} m")
    if guide.is_empty or not guide.is_simple:
        raise ValueError("a guide line must have a length and must not cross itself")


def _drawn(
    lines: list[shapely.LineString], guide: shapely.LineString
) -> tuple[shapely.LineString, ...]:
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
