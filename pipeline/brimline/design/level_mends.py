"""Swales drawn off level: moved onto their level, or stepped in level bays where they must stay."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely.ops import substring

from brimline.design.plan import DrawnSwale
from brimline.design.plan_changes import PlanChange, mend_row
from brimline.lines.rows import corrected
from brimline.lines.sample import along, surface_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.cascade import Finding
    from brimline.design.elements import PlacedElement
    from brimline.design.places import KeptClear
    from brimline.grid import Elevation, Grid
    from brimline.lines.level_lines import Drawing
    from brimline.lines.rows import Corrected

_KEPT_SHARE: Final = 0.9  # of the drawn length; a line that loses more is not told as the same
_OTHER_LEVELS: Final = (None, 0.3, 0.7, 0.1, 0.9)  # of the ground along a line; its own first
_STEP_M: Final = 0.5  # along a line, for its levels
_LEAST_BAY_M: Final = 3.0  # a machine's own length (common practice, no source)
_MOST_BAYS: Final = 12
_TIGHT: Final = 0.9  # of the tolerance, which bays keep, so that they are not flagged themselves


def level_departure_m(line: shapely.LineString, surface: Elevation, grid: Grid) -> float:
    """Largest departure of a surface from its own middle level along a line [m]; 0 off the data."""
    levels = _levels(line, surface, grid)[1]
    return float(np.abs(levels - np.median(levels)).max()) if levels.size else 0.0


def mends_to_level(
    findings: Iterable[Finding],
    placed: Sequence[PlacedElement],
    surface: Elevation,
    grid: Grid,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
    drawing: Drawing,
) -> list[dict[str, Any]]:
    """Find what makes each swale level that was flagged ``off-level``.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the one that lines are traced on, and judged by.
    kept_clear, site : where a moved line may not go, unless it was drawn there.
    drawing : how lines are drawn; its tolerance is that of the findings.

    Returns
    -------
    rows of the table of mends; none for a line that neither moves nor steps within the limits.
    """
    flagged = {finding.element_id for finding in findings if finding.flag == "off-level"}
    rows: list[dict[str, Any]] = []
    for one in placed:
        if one.name not in flagged or not isinstance(one.shape, shapely.LineString):
            continue
        rows += _moved(one, surface, grid, kept_clear, site, drawing)
        rows += _stepped(one, surface, grid, drawing.tolerance_m)
    return rows


def _moved(
    one: PlacedElement,
    surface: Elevation,
    grid: Grid,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
    drawing: Drawing,
) -> Iterator[dict[str, Any]]:
    """Move the line onto its level, where it keeps its length and nothing is in its way."""
    known = _levels(one.shape, surface, grid)[1]
    for share in _OTHER_LEVELS:
        level = None if share is None else float(np.quantile(known, share))
        found = _on_level(one.shape, level, surface, grid, kept_clear, site, drawing)
        if found is not None:
            break
    else:
        return
    off_m = level_departure_m(found.line, surface, grid)
    text = (
        f"move the line of {one.name} onto {found.level_m:.2f} m, {found.moved_m:.1f} m at most; "
        f"it is then {found.line.length:.0f} m long ({one.shape.length:.0f} m as drawn)"
    )
    values: dict[str, float | str] = {}
    if "level_m" not in one.empty:
        values["level_m"] = round(found.level_m, 3)
    change = PlanChange(DrawnSwale.LAYER, one.name, values, found.line.wkt)
    was_m = level_departure_m(one.shape, surface, grid)
    yield mend_row(one.name, "off-level", one.name, "line", "m", was_m, off_m, text, [change])


def _on_level(
    line: shapely.LineString,
    level_m: float | None,
    surface: Elevation,
    grid: Grid,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
    drawing: Drawing,
) -> Corrected | None:
    """Move a line onto a level; None where it loses length or meets what it did not before."""
    try:
        found = corrected([line], [level_m], surface, surface, grid, drawing=drawing)[0]
    except ValueError:
        return None
    level = level_departure_m(found.line, surface, grid) <= drawing.tolerance_m
    long = found.line.length >= _KEPT_SHARE * line.length
    beyond = found.line.difference(site).length > line.difference(site).length + 0.5
    nearer = any(
        found.line.intersects(other.area) and not line.intersects(other.area)
        for other in kept_clear
    )
    return found if level and long and not beyond and not nearer else None


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
    names = [one.name, *(f"{one.name} bay {number}" for number in range(2, len(bays) + 1))]
    steps = np.abs(np.diff(middle))
    changes = []
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
        part = substring(line, start, end)
        changes.append(PlanChange(DrawnSwale.LAYER, names[place], values, part.wkt, place > 0))
    text = (
        f"keep {one.name} on its line, in {len(bays)} level bays of "
        f"{min(end - start for start, end in bays):.0f} to "
        f"{max(end - start for start, end in bays):.0f} m with check sills between them; the "
        f"highest step is {steps.max():.2f} m"
    )
    off_m = max(
        level_departure_m(substring(line, start, end), surface, grid) for start, end in bays
    )
    was_m = level_departure_m(line, surface, grid)
    yield mend_row(one.name, "off-level", one.name, "bays", "m", was_m, off_m, text, changes)


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
