"""Swales drawn off level: moved onto their level, or stepped in level bays where they must stay."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely.ops import substring

from brimline.design.plan import DrawnSwale
from brimline.design.plan_changes import PlanChange, mend_row
from brimline.elements import Kind
from brimline.lines.contours import contours
from brimline.lines.rows import around, corrected
from brimline.lines.sample import along, surface_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, MutableMapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.design.advising import Mark
    from brimline.design.elements import PlacedElement
    from brimline.design.places import KeptClear
    from brimline.grid import Elevation, Grid
    from brimline.lines.level_lines import Drawing
    from brimline.lines.rows import Corrected

KEPT_SHARE: Final = 0.9  # of the drawn length; a line that loses more is not told as the same
# of the ground along a line, its own level first
_SHARES: Final = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.0, 1.0)
_REACH_M: Final = 50.0  # beside a line, at least, to look for one that is level
_MOST_REACH_M: Final = 150.0
_MOST_TRIES: Final = 12
_SETTLED_PARTS: Final = 4  # of a cell
_SETTLED_ROUNDS: Final = 4
_LEAST_SLOPE: Final = 0.01
_MOST_LINES: Final = 3
_WINDING: Final = 1.4
_SAME_PLACE_M: Final = 0.5
# what another line may mend
_LEVEL: Final = frozenset(
    {"off-level", "leaks", "sill-shut", "reaches-other", "over-boundary", "uphill"}
)
_STEP_M: Final = 0.5  # along a line, for its levels
_LEAST_FLOOR_M: Final = 1.5  # of a bay between the slopes of its ends
_LEAST_BAY_M: Final = 3.0  # a machine's own length (common practice, no source)
_MOST_BAYS: Final = 12
_CHECK_TOP_M: Final = 0.5  # of a check, at the water of the upper bay (common practice, no source)
_TIGHT: Final = 0.9  # of the tolerance, which bays keep, so that they are not flagged themselves


def level_departure_m(line: shapely.LineString, surface: Elevation, grid: Grid) -> float:
    """Largest departure of a surface from its own middle level along a line [m]; 0 off the data."""
    levels = _levels(line, surface, grid)[1]
    return float(np.abs(levels - np.median(levels)).max()) if levels.size else 0.0


def mends_to_level(
    marks: Iterable[Mark],
    placed: Sequence[PlacedElement],
    surface: Elevation,
    grid: Grid,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
    drawing: Drawing,
    known: MutableMapping[bytes, list[Corrected]] | None = None,
    least_m: Mapping[str, float] | None = None,
) -> list[dict[str, Any]]:
    """Find level lines for each swale that is off level, or whose water goes astray where it lies.

    Parameters
    ----------
    marks : element and flag of what to mend.
    surface : float32 (rows, cols) [m]; the one that lines are traced on, and judged by.
    kept_clear, site : where a moved line may not go, unless it was drawn there.
    drawing : how lines are drawn; its tolerance is that of the findings.
    known : level lines found before, by the line as drawn; added to.
    least_m : length by swale that no line may fall short of, where it was moved before [m].

    Returns
    -------
    rows of the table of mends; none for a line that neither moves nor steps within the limits.
    """
    known = {} if known is None else known
    flags: dict[str, set[str]] = {}
    for name, flag in marks:
        flags.setdefault(name, set()).add(flag)
    rows: list[dict[str, Any]] = []
    for one in placed:
        mine = flags.get(one.name, set()) & _LEVEL
        if one.element.kind is not Kind.SWALE or not mine:
            continue
        drawn = shapely.to_wkb(one.shape)
        if drawn not in known:
            known[drawn] = level_lines(one.shape, surface, grid, kept_clear, site, drawing)
        short_m = (least_m or {}).get(one.name, 0.0)
        lines = [found for found in known[drawn] if found.line.length >= short_m]
        if "off-level" in mine:
            rows += _moved(one, lines, "off-level", surface, grid)
            rows += _stepped(one, surface, grid, drawing.tolerance_m)
        for flag in sorted(mine - {"off-level"}):
            rows += _moved(one, lines, flag, surface, grid)
    return rows


def level_lines(
    line: shapely.LineString,
    surface: Elevation,
    grid: Grid,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
    drawing: Drawing,
) -> list[Corrected]:
    """Find level lines about as long as one that was drawn, the nearest first.

    Its own level is looked at first, then others of the ground around it. Nothing is met that the
    drawn line did not meet.
    """
    known = _levels(line, surface, grid)[1]
    if not known.size:
        return []
    free = site.union(line.buffer(grid.cell_m))
    for other in kept_clear:
        if not line.intersects(other.area):
            free = free.difference(other.area)
    levels = [float(np.quantile(known, share)) for share in _SHARES]
    reach_m = min(max(_REACH_M, line.length), _MOST_REACH_M)
    window, part = around(line, surface, grid, reach_m)
    points = shapely.points(along(line, grid.cell_m))
    near = free.intersection(line.buffer(reach_m))
    stretches: list[tuple[float, shapely.LineString, float]] = []
    for level, traced in zip(levels, contours(part, window, levels), strict=True):
        inside = shapely.line_merge(traced.intersection(near))
        for one in shapely.get_parts(inside):
            if one.geom_type == "LineString" and one.length >= KEPT_SHARE * line.length:
                stretch = _nearest_stretch(one, line)
                off_m = float(shapely.distance(points, stretch).mean())
                stretches.append((off_m, stretch, level))
    found: list[Corrected] = []
    used: set[float] = set()
    for level, stretch in _tries(line, levels[0], stretches):
        if level in used:
            continue
        one = _on_level(line, stretch, level, surface, grid, free, drawing)
        if one is not None:
            found.append(one)
            used.add(level)
        if len(found) == _MOST_LINES:
            break
    # one that winds so much that it is far longer is the last to take
    return sorted(found, key=lambda one: one.line.length > _WINDING * line.length)


def _tries(
    line: shapely.LineString,
    own_m: float,
    stretches: Sequence[tuple[float, shapely.LineString, float]],
) -> Iterator[tuple[float, shapely.LineString]]:
    yield own_m, line
    for _, stretch, level in sorted(stretches, key=lambda one: one[0])[:_MOST_TRIES]:
        yield level, stretch


def _nearest_stretch(contour: shapely.LineString, line: shapely.LineString) -> shapely.LineString:
    """Cut the stretch as long as a line out of a contour, beside the middle of that line."""
    middle = contour.project(line.interpolate(0.5, normalized=True))
    start = min(max(middle - line.length / 2, 0.0), max(contour.length - line.length, 0.0))
    return substring(contour, start, min(start + line.length, contour.length))


def _on_level(
    line: shapely.LineString,
    stretch: shapely.LineString,
    level_m: float,
    surface: Elevation,
    grid: Grid,
    free: BaseGeometry,
    drawing: Drawing,
) -> Corrected | None:
    """Draw a stretch on its level; None where it loses length or meets what it may not."""
    try:
        found = corrected([stretch], [level_m], surface, surface, grid, drawing=drawing)[0]
    except ValueError:
        return None
    level = level_departure_m(found.line, surface, grid) <= drawing.tolerance_m
    if not level:
        settled = _settled(found.line, level_m, surface, grid)
        for coarse_m in (drawing.simplify_m, 0.1 * drawing.simplify_m):
            found = replace(found, line=settled.simplify(coarse_m))
            level = level_departure_m(found.line, surface, grid) <= drawing.tolerance_m
            if level:
                break
    long = found.line.length >= KEPT_SHARE * line.length
    beyond = found.line.difference(free).length > line.difference(free).length + 0.5
    if not level or not long or beyond or not found.line.is_simple:
        return None
    return found


def _settled(
    line: shapely.LineString, level_m: float, surface: Elevation, grid: Grid
) -> shapely.LineString:
    """Bring every point of a contour onto its level.

    A contour is straight from one side of a cell to the next, where the surface is curved: on
    rough ground of wide cells it is off by more than is asked.
    """
    step_m = grid.cell_m / _SETTLED_PARTS
    points = along(line, step_m)
    for _ in range(_SETTLED_ROUNDS):
        off_m = surface_at(surface, grid, *points.T) - level_m
        rise = np.column_stack(
            [
                surface_at(surface, grid, *(points + ahead).T)
                - surface_at(surface, grid, *(points - ahead).T)
                for ahead in ((step_m, 0.0), (0.0, step_m))
            ]
        ) / (2 * step_m)
        steep = np.maximum((rise**2).sum(axis=1), _LEAST_SLOPE**2)
        move = -(off_m / steep)[:, None] * rise
        move *= np.minimum(1.0, step_m / np.maximum(np.hypot(*move.T), 1e-9))[:, None]
        points = points + np.nan_to_num(move)
    return shapely.remove_repeated_points(shapely.LineString(points), 0.05)


def _moved(
    one: PlacedElement,
    lines: Sequence[Corrected],
    flag: str,
    surface: Elevation,
    grid: Grid,
) -> Iterator[dict[str, Any]]:
    """Move the line onto a level, where it keeps its length and nothing is in its way."""
    was_m = level_departure_m(one.shape, surface, grid)
    for number, found in enumerate(lines, start=1):
        off_m = level_departure_m(found.line, surface, grid)
        corners = shapely.points(shapely.get_coordinates(one.shape))
        moved_m = float(shapely.distance(corners, found.line).max())
        if flag != "off-level" and moved_m < _SAME_PLACE_M:
            continue  # its water goes astray where it lies
        text = (
            f"move the line of {one.name} onto {found.level_m:.2f} m, {moved_m:.1f} m at"
            f" most; it is then {found.line.length:.0f} m long ({one.shape.length:.0f} m as drawn)"
        )
        values: dict[str, float | str] = {}
        if "level_m" not in one.empty:
            values["level_m"] = round(found.level_m, 3)
        change = PlanChange(DrawnSwale.LAYER, one.name, values, found.line.wkt)
        what = "line" if number == 1 else f"line {number}"
        yield mend_row(one.name, flag, one.name, what, "m", was_m, off_m, text, [change])


def _stepped(
    one: PlacedElement, surface: Elevation, grid: Grid, tolerance_m: float
) -> Iterator[dict[str, Any]]:
    """Keep the line where it is, in level bays, each spilling to the next over a check sill."""
    line = one.shape
    at_m, levels = _levels(line, surface, grid)
    bays = list(itertools.pairwise(_bays(at_m, levels, _TIGHT * tolerance_m)))
    if not 2 <= len(bays) <= _MOST_BAYS or min(end - start for start, end in bays) < _LEAST_BAY_M:
        return
    middle = [
        float(np.median(levels[(at_m >= start) & (at_m <= end)])) for start, end in bays
    ]  # the level that each bay is given
    checks_m = _checks_m(one, middle)
    names = [one.name, *(f"{one.name} bay {number}" for number in range(2, len(bays) + 1))]
    steps = np.abs(np.diff(middle))
    changes: list[PlanChange] = []
    dug_m: list[float] = []
    for place, (start, end) in enumerate(bays):
        lower = [
            near
            for near in (place - 1, place + 1)
            if 0 <= near < len(bays) and middle[near] < middle[place]
        ]
        spills_to = names[min(lower, key=lambda near: middle[near])] if lower else one.spills_to
        values: dict[str, float | str] = {"level_m": round(middle[place], 3)}
        if spills_to or place == 0:
            values["spills_to"] = spills_to
        values |= _section(one)
        first, last = start + checks_m[place] / 2, end - checks_m[place + 1] / 2
        if last - first < _LEAST_FLOOR_M:
            return
        part = substring(line, first, last)
        dug_m.append(part.length)
        changes.append(PlanChange(DrawnSwale.LAYER, names[place], values, part.wkt, place > 0))
    text = (
        f"keep {one.name} on its line, in {len(bays)} level bays of {min(dug_m):.0f} to"
        f" {max(dug_m):.0f} m with checks of up to {max(checks_m):.1f} m between them, left undug:"
        f" {sum(dug_m):.0f} of {line.length:.0f} m are dug; the highest step is {steps.max():.2f} m"
    )
    off_m = max(
        level_departure_m(substring(line, start, end), surface, grid) for start, end in bays
    )
    was_m = level_departure_m(line, surface, grid)
    yield mend_row(one.name, "off-level", one.name, "bays", "m", was_m, off_m, text, changes)


def _checks_m(one: PlacedElement, levels_m: Sequence[float]) -> list[float]:
    """Lengths along the line that stay undug before, between and after bays [m].

    The ends of both bays slope up as their sides do; where they meet must hold the upper water.
    """
    shape = one.element.shape
    side, depth_m = getattr(shape, "side", 1.0), getattr(shape, "depth_m", 0.0)
    between = [
        2 * side * (depth_m + abs(upper - lower) / 2) + _CHECK_TOP_M
        for upper, lower in itertools.pairwise(levels_m)
    ]
    return [0.0, *between, 0.0]


def _section(one: PlacedElement) -> dict[str, float | str]:
    """Return what the row says of its section, which every bay is dug with."""
    shape = one.element.shape
    names = ("depth_m", "bottom_m", "side", "freeboard_m")
    return {
        name: float(getattr(shape, name))
        for name in names
        if name not in one.empty and hasattr(shape, name)
    }


def _bays(
    at_m: NDArray[np.float64], levels: NDArray[np.float64], departure_m: float
) -> list[float]:
    """Part a line into the fewest stretches of about equal fall, each as level as asked.

    The whole line is given back where more stretches than `_MOST_BAYS` were needed.
    """
    for count in range(2, _MOST_BAYS + 1):
        places = _greedy(levels, float(np.ptp(levels)) / count)
        bays = [levels[start : end + 1] for start, end in itertools.pairwise(places)]
        off_m = max((float(np.abs(bay - np.median(bay)).max()) for bay in bays), default=0.0)
        if off_m <= departure_m:
            return [float(at) for at in at_m[places]]
    return [float(at) for at in at_m[[0, -1]]] if at_m.size else []


def _greedy(levels: NDArray[np.float64], range_m: float) -> list[int]:
    """Begin a stretch where the one before would have a larger range of levels."""
    places, low, high = [0], levels[0], levels[0]
    for place, level in enumerate(levels[:-1]):
        low, high = min(low, level), max(high, level)
        if high - low > range_m * (1 + 1e-6) + 1e-3:
            places.append(place)
            low = high = level
    return [*places, len(levels) - 1]


def _levels(
    line: shapely.LineString, surface: Elevation, grid: Grid
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distances along a line and the levels there, where there are any."""
    points = along(line, _STEP_M)
    levels = surface_at(surface, grid, points[:, 0], points[:, 1])
    at_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    known = np.isfinite(levels)
    return at_m[known], levels[known]
