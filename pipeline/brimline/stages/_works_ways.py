"""Ways out of drawn elements: as drawn, else where water leaving the sill runs on the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.cascade import NOWHERE, Discharge, Link
from brimline.drainage.receiving import way_down
from brimline.elements import Drain, Kind, Pipe, Sill, Tank
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.lines.sample import along
from brimline.stages._works_shapes import LEVEL_STEP_M, number_of, text_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.elements import Outlet
    from brimline.grid import Directions, Grid, Labels
    from brimline.stages._works_shapes import Drawn, Site

_NEAR_M: Final = 5.0  # an end that was drawn this close to a shape means it
_FIRST_WIDTH_M: Final = 1.0  # of a sill that is sized later
_USUAL_PIPE_M: Final = 0.15


@dataclass(frozen=True, slots=True)
class Way:
    """A link and how it runs on the plan."""

    link: Link
    line: shapely.LineString
    sized_later: bool


@dataclass(slots=True)
class Ways:
    """All links, the discharge points, and where each element's overflow runs on the ground.

    Parameters
    ----------
    on_ground : element to what its overflow reaches; left out where it reaches nothing.
    """

    ways: list[Way] = field(default_factory=list)
    discharges: list[Discharge] = field(default_factory=list)
    on_ground: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Ground:
    """What overflow runs over.

    Parameters
    ----------
    seeds : int32 (rows, cols); place of the element (from 1) that covers a cell; discharge points
        follow the elements. Tanks, which have lids, cover none.
    names : what each number is called; the first is empty.
    """

    grid: Grid
    directions: Directions
    seeds: Labels
    names: tuple[str, ...]
    shapes: tuple[BaseGeometry, ...]


def ground_of(
    drawn: Sequence[Drawn], discharge_points: GeoDataFrame, directions: Directions, grid: Grid
) -> tuple[Ground, list[Discharge]]:
    """Lay the elements and discharge points on the grid; where they meet, the later one wins."""
    discharges, shapes = [], []
    for number, row in enumerate(discharge_points.itertuples(index=False), start=1):
        called = text_of(row, "name")
        level = number_of(row, "level_m")
        discharges.append(
            Discharge(called or f"discharge {number}", called, None if math.isnan(level) else level)
        )
        shapes.append(row.geometry.buffer(max(_NEAR_M, grid.cell_m)))
    seeds = np.zeros(grid.shape, dtype=np.int32)
    every = [*(one.shape for one in drawn), *shapes]
    lids = {number for number, one in enumerate(drawn, start=1) if one.element.kind is Kind.TANK}
    for number, shape in enumerate(every, start=1):
        if number in lids:
            continue  # nothing runs into a tank over the ground
        seeds[cells_inside([shape], grid, all_touched=True)] = number
    names = ("", *(one.element.element_id for one in drawn), *(d.discharge_id for d in discharges))
    return Ground(grid, directions, seeds, names, tuple(every)), discharges


def ways_of(
    drawn: Sequence[Drawn], plan: dict[str, GeoDataFrame], ground: Ground, site: Site
) -> Ways:
    """Find every way out of every element.

    Parameters
    ----------
    plan : the layers drawn_pipes and drawn_overflows.
    """
    found = Ways()
    by_name = {one.element.element_id: one for one in drawn}
    for layer, make in (("drawn_pipes", _pipe), ("drawn_overflows", _sill)):
        for number, row in enumerate(plan[layer].itertuples(index=False), start=1):
            _add_drawn(found, row, number, layer, make, by_name, ground, site)
    led_out = {way.link.from_id for way in found.ways if not isinstance(way.link.outlet, Pipe)}
    for one in drawn:
        target, line = _on_ground(one, ground, site)
        if target:
            found.on_ground[one.element.element_id] = target
        if one.element.element_id not in led_out:
            found.ways.append(_main_way(one, target, line, ground))
    return found


def _add_drawn(
    found: Ways,
    row: Any,  # noqa: ANN401 - a row of either layer
    number: int,
    layer: str,
    make: Any,  # noqa: ANN401 - one of the two makers below
    by_name: dict[str, Drawn],
    ground: Ground,
    site: Site,
) -> None:
    line = row.geometry
    start, end = shapely.Point(line.coords[0]), shapely.Point(line.coords[-1])
    from_id = text_of(row, "from_id") or _name_near(start, ground)
    to_id = text_of(row, "to_id") or _name_near(end, ground)
    try:
        if from_id not in by_name:
            raise ValueError("it begins at no element")
        if to_id and to_id not in ground.names:
            raise ValueError(f"there is nothing called {to_id}")
        outlet, later = make(row, by_name[from_id], site)
        if outlet.crest_m < by_name[from_id].element.floor_m:
            raise ValueError(f"it lies below the floor of {from_id}")
    except ValueError as error:
        name = text_of(row, "name") or f"row {number}"
        found.problems.append(
            Problem(
                Severity.WARNING,
                f"{name} leads nowhere and was left out: {error}",
                "draw it from one element to the next, or fill in from_id and to_id",
                f"plan, {layer}",
            )
        )
        return
    capacity = number_of(row, "capacity_m3_s", math.inf)
    found.ways.append(Way(Link(from_id, to_id or NOWHERE, outlet, capacity), line, later))


def _pipe(row: Any, one: Drawn, site: Site) -> tuple[Outlet, bool]:  # noqa: ANN401
    levels = site.level_along(row.geometry)
    element = one.element
    low = 0.5 * (element.floor_m + element.spill_level_m)  # a low outlet, where no level is drawn
    inlet = number_of(row, "from_level_m", low)
    outlet = number_of(row, "to_level_m", min(float(levels[-1]), inlet))
    diameter_m = number_of(row, "diameter_mm", 1000 * _USUAL_PIPE_M) / 1000
    length = row.geometry.length
    pipe = Pipe(inlet, outlet, diameter_m, length, number_of(row, "roughness", 0.013))
    return pipe, math.isnan(number_of(row, "diameter_mm"))


def _sill(row: Any, one: Drawn, site: Site) -> tuple[Outlet, bool]:  # noqa: ANN401, ARG001
    crest = number_of(row, "crest_level_m", one.element.spill_level_m)
    width = number_of(row, "sill_width_m", one.sill_width_m)
    form = text_of(row, "form") or "broad"
    sized_later = math.isnan(width)
    return Sill(crest, _FIRST_WIDTH_M if sized_later else width, form), sized_later  # type: ignore[arg-type]


def _main_way(one: Drawn, traced: str, line: shapely.LineString, ground: Ground) -> Way:
    """Return the way over its own sill, to where it was said to go or the ground leads."""
    element = one.element
    said = bool(one.spills_to) and one.spills_to in ground.names
    target = one.spills_to if said else traced
    if target and target != traced:
        line = _straight(one.shape, ground.shapes[ground.names.index(target) - 1])
    shape = element.shape
    if isinstance(shape, Tank):
        return Way(
            Link(element.element_id, target or NOWHERE, shape.overflow()),
            line,
            sized_later="overflow_mm" in one.empty,
        )
    if isinstance(shape, Drain):
        return Way(
            Link(element.element_id, target or NOWHERE, shape.outlet()), line, sized_later=False
        )
    later = math.isnan(one.sill_width_m)
    sill = Sill(element.spill_level_m, _FIRST_WIDTH_M if later else one.sill_width_m)
    return Way(Link(element.element_id, target or NOWHERE, sill), line, sized_later=later)


def _on_ground(one: Drawn, ground: Ground, site: Site) -> tuple[str, shapely.LineString]:
    """Follow water from where an element spills; the name it reaches, empty for none."""
    start = _spill_point(one, site)
    row, col = (int(v) for v in ground.grid.cell(start.x, start.y))
    own = ground.names.index(one.element.element_id)
    stop = np.where(ground.seeds == own, 0, ground.seeds).astype(np.int32)
    if not ground.grid.holds(row, col) or ground.directions[row, col] > 8:
        return "", shapely.LineString([start, start])
    rows, cols = way_down(ground.directions, row, col, stop)
    points = np.column_stack(ground.grid.xy(rows, cols))
    line = shapely.LineString([(start.x, start.y), *points.tolist()])
    return ground.names[int(stop[rows[-1], cols[-1]])], line


def _spill_point(one: Drawn, site: Site) -> shapely.Point:
    """Return where it spills: a line at its last point, an outline where the ground is lowest."""
    if one.shape.geom_type == "Point":
        return one.shape
    if one.shape.geom_type == "LineString":
        return shapely.Point(one.shape.coords[-1])
    levels = site.level_along(one.shape.exterior)
    points = along(one.shape.exterior, LEVEL_STEP_M)
    return shapely.Point(points[int(np.nanargmin(levels))])


def _name_near(point: shapely.Point, ground: Ground) -> str:
    """Name of the shape nearest to a drawn end, empty where none is near."""
    distances = [shape.distance(point) for shape in ground.shapes]
    if not distances or min(distances) > _NEAR_M:
        return ""
    return ground.names[1 + int(np.argmin(distances))]


def _straight(one: BaseGeometry, other: BaseGeometry) -> shapely.LineString:
    return shapely.shortest_line(one, other)
