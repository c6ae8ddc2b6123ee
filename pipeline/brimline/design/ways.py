"""Ways out of elements: as drawn, else where water leaving the sill runs on the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.cascade import NOWHERE, Discharge, Finding, Link
from brimline.design.plan import DrawnOverflow, DrawnPipe
from brimline.drainage.receiving import way_down
from brimline.elements import Dam, Drain, Kind, Pipe, RaisedBed, Sill, Tank
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.lines.sample import along

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.design.elements import PlacedElement
    from brimline.design.making import Design
    from brimline.design.plan import DrawnDischarge, DrawnWay, Plan
    from brimline.design.standing import StandingGround
    from brimline.elements import Outlet
    from brimline.grid import Directions, Grid, Labels

NEAR_M: Final = 5.0  # an end that was drawn this close to a shape means it
_RANK_STEP_M: Final = 0.05  # from one way out to the next in preference (common practice)
_MISSED_M: Final = 0.1  # an end that is off by less was drawn on the shape
_FIRST_WIDTH_M: Final = 1.0  # of a sill that is sized later


@dataclass(frozen=True, slots=True, eq=False)
class WayOut:
    """A link and how it runs on the plan.

    Parameters
    ----------
    sized_later : its pipe or sill was left open, to be sized for the peak.
    drawn : the row that draws it; None where the element has it of itself.
    """

    link: Link
    line: shapely.LineString
    sized_later: bool
    drawn: DrawnWay | None = None


@dataclass(slots=True)
class WaysOut:
    """All links, and where each element's overflow runs on the ground.

    Parameters
    ----------
    on_ground : element to what its overflow reaches; left out where it reaches nothing.
    """

    ways: list[WayOut] = field(default_factory=list)
    on_ground: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class RunningGround:
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


def discharges_of(rows: Sequence[DrawnDischarge]) -> tuple[Discharge, ...]:
    """Return the discharge points as the cascade sees them."""
    return tuple(
        Discharge(
            row.name or f"discharge {number}",
            row.name,
            None if math.isnan(row.level_m) else row.level_m,
        )
        for number, row in enumerate(rows, start=1)
    )


def running_ground(
    placed: Sequence[PlacedElement],
    points: Sequence[DrawnDischarge],
    directions: Directions,
    grid: Grid,
) -> RunningGround:
    """Lay the elements and discharge points on the grid; where they meet, the later one wins."""
    seeds = np.zeros(grid.shape, dtype=np.int32)
    near = [row.shape.buffer(max(NEAR_M, grid.cell_m)) for row in points]
    every = [*(one.shape for one in placed), *near]
    lids = {number for number, one in enumerate(placed, start=1) if one.element.kind is Kind.TANK}
    for number, shape in enumerate(every, start=1):
        if number in lids:
            continue  # nothing runs into a tank over the ground
        seeds[cells_inside([shape], grid, all_touched=True)] = number
    called = (point.discharge_id for point in discharges_of(points))
    names = ("", *(one.name for one in placed), *called)
    return RunningGround(grid, directions, seeds, names, tuple(every))


def ways_out(
    placed: Sequence[PlacedElement], plan: Plan, running: RunningGround, standing: StandingGround
) -> WaysOut:
    """Find every way out of every element."""
    found = WaysOut()
    by_name = {one.name: one for one in placed}
    drawn: tuple[DrawnWay, ...] = (*plan.pipes, *plan.overflows)
    ranks = _ranks(drawn, running)
    for row in drawn:
        _add_drawn(found, row, by_name, running, standing, ranks.get(row.name, 0))
    led_out = {way.link.from_id for way in found.ways if _is_overflow(way, by_name)}
    for one in placed:
        target, line = _on_ground(one, running, standing)
        if target:
            found.on_ground[one.name] = target
        if one.name not in led_out:
            found.ways.append(_main_way(one, target, line, running))
    return found


def _ranks(drawn: Sequence[DrawnWay], running: RunningGround) -> dict[str, int]:
    """Place of each way among those of its element that state a preference, from 0."""
    by_element: dict[str, list[DrawnWay]] = {}
    for row in drawn:
        if not math.isnan(row.preference):
            by_element.setdefault(_leaves(row, running), []).append(row)
    return {
        row.name: place
        for rows in by_element.values()
        for place, row in enumerate(sorted(rows, key=lambda one: one.preference))
    }


def _leaves(row: DrawnWay, running: RunningGround) -> str:
    return row.from_id or name_near(shapely.Point(row.shape.coords[0]), running)


def _add_drawn(
    found: WaysOut,
    row: DrawnWay,
    by_name: Mapping[str, PlacedElement],
    running: RunningGround,
    standing: StandingGround,
    rank: int,
) -> None:
    line = row.shape
    from_id = _leaves(row, running)
    to_id = row.to_id or name_near(shapely.Point(line.coords[-1]), running)
    above_m = rank * _RANK_STEP_M
    try:
        if from_id not in by_name:
            raise ValueError("it begins at no element")
        if to_id and to_id not in running.names:
            raise ValueError(f"there is nothing called {to_id}")
        element = by_name[from_id].element
        if isinstance(row, DrawnPipe):
            capacity = math.inf
            outlet: Outlet = _pipe(row, by_name[from_id], standing, above_m)
            later = "diameter_mm" in row.empty
        else:
            capacity = math.inf if math.isnan(row.capacity_m3_s) else row.capacity_m3_s
            outlet, later = _sill(row, by_name[from_id], above_m)
        if outlet.crest_m < element.floor_m:
            raise ValueError(f"it lies below the floor of {from_id}")
    except ValueError as error:
        found.problems.append(
            Problem(
                Severity.WARNING,
                f"{row.name} leads nowhere and was left out: {error}",
                "draw it from one element to the next, or fill in from_id and to_id",
                f"plan, {row.LAYER}",
            )
        )
        return
    for point, name, said in ((0, from_id, row.from_id), (-1, to_id, row.to_id)):
        if name and not said:
            found.problems += _snapped(row, shapely.Point(line.coords[point]), name, running)
    if isinstance(row, DrawnPipe) and math.isnan(row.from_level_m) and math.isnan(row.preference):
        found.problems.append(_level_taken(row, by_name[from_id]))
    link = Link(from_id, to_id or NOWHERE, outlet, capacity)
    found.ways.append(WayOut(link, line, later, row))


def _snapped(
    row: DrawnPipe | DrawnOverflow, end: shapely.Point, name: str, running: RunningGround
) -> list[Problem]:
    """Say of an end that misses a shape by a little what it is taken to mean."""
    off_m = running.shapes[running.names.index(name) - 1].distance(end)
    if off_m < _MISSED_M:
        return []
    return [
        Problem(
            Severity.NOTICE,
            f"the end of {row.name} at {end.x:.1f}, {end.y:.1f} misses {name} by {off_m:.1f} m and"
            " is taken to meet it",
            "fill in from_id and to_id, or draw it on, where something else is meant",
            f"plan, {row.LAYER}",
        )
    ]


def _pipe(row: DrawnPipe, one: PlacedElement, standing: StandingGround, above_m: float) -> Pipe:
    levels = standing.level_along(row.shape)
    open_m = _taken_level_m(one)
    if not math.isnan(row.preference):
        open_m = one.element.spill_level_m + above_m
    inlet = open_m if math.isnan(row.from_level_m) else row.from_level_m
    outlet = min(float(levels[-1]), inlet) if math.isnan(row.to_level_m) else row.to_level_m
    return Pipe(inlet, outlet, row.diameter_mm / 1000, row.shape.length, row.roughness)


def _taken_level_m(one: PlacedElement) -> float:
    """Where a pipe leaves an element if no level is drawn: a tank's overflow, else half way up."""
    element = one.element
    if element.kind is Kind.TANK:
        return element.spill_level_m
    return 0.5 * (element.floor_m + element.spill_level_m)


def _is_overflow(way: WayOut, by_name: Mapping[str, PlacedElement]) -> bool:
    """Tell whether a drawn way takes the place of the one that an element has of itself."""
    if not isinstance(way.link.outlet, Pipe):
        return True
    element = by_name[way.link.from_id].element
    return element.kind is Kind.TANK and way.link.outlet.crest_m >= element.spill_level_m - 1e-6


def _level_taken(row: DrawnPipe, one: PlacedElement) -> Problem:
    level = _taken_level_m(one)
    what = "its overflow" if one.element.kind is Kind.TANK else "half way up to its sill"
    return Problem(
        Severity.NOTICE,
        f"{row.name} has no from_level_m: it leaves {one.name} at {level:.2f} m, {what}",
        "fill in from_level_m where it is to leave elsewhere",
        f"plan, {row.LAYER}",
    )


def _sill(row: DrawnOverflow, one: PlacedElement, above_m: float) -> tuple[Sill, bool]:
    open_m = one.element.spill_level_m + above_m
    level = open_m if math.isnan(row.crest_level_m) else row.crest_level_m
    width = one.sill_width_m if math.isnan(row.sill_width_m) else row.sill_width_m
    later = math.isnan(width)
    return Sill(level, _FIRST_WIDTH_M if later else width, row.form), later  # type: ignore[arg-type]


def _main_way(
    one: PlacedElement, traced: str, line: shapely.LineString, running: RunningGround
) -> WayOut:
    """Return the way over its own sill, to where it was said to go or the ground leads."""
    element = one.element
    said = bool(one.spills_to) and one.spills_to in running.names
    target = one.spills_to if said else traced
    if target and target != traced:
        line = shapely.shortest_line(one.shape, running.shapes[running.names.index(target) - 1])
    later = math.isnan(one.sill_width_m)
    outlet: Outlet
    if isinstance(element.shape, Tank | RaisedBed):
        sized = isinstance(element.shape, Tank) and "overflow_mm" in one.empty
        outlet, later = element.shape.overflow(), sized
    elif isinstance(element.shape, Drain):
        outlet, later = element.shape.outlet(), False
    else:
        outlet = Sill(element.spill_level_m, _FIRST_WIDTH_M if later else one.sill_width_m)
    return WayOut(Link(element.element_id, target or NOWHERE, outlet), line, sized_later=later)


def _on_ground(
    one: PlacedElement, running: RunningGround, standing: StandingGround
) -> tuple[str, shapely.LineString]:
    """Follow water from where an element spills; the name it reaches, empty for none."""
    start = _spill_point(one, standing)
    row, col = (int(v) for v in running.grid.cell(start.x, start.y))
    own = running.names.index(one.name)
    stop = np.where(running.seeds == own, 0, running.seeds).astype(np.int32)
    made = one.element.shape
    # a dam's water leaves beside its bank, and is on the ground from the end of its spillway on
    first = made.spillway.coords[1:] if isinstance(made, Dam) else [(start.x, start.y)]
    if not running.grid.holds(row, col) or running.directions[row, col] > 8:
        return "", shapely.LineString([*first, (start.x, start.y)])
    rows, cols = way_down(running.directions, row, col, stop)
    points = np.column_stack(running.grid.xy(rows, cols))
    line = shapely.LineString([*first, *points.tolist()])
    return running.names[int(stop[rows[-1], cols[-1]])], line


def _spill_point(one: PlacedElement, standing: StandingGround) -> shapely.Point:
    """Return where it spills: a line at its last point, an outline where the ground is lowest."""
    if one.shape.geom_type == "Point":
        return one.shape
    if isinstance(one.element.shape, Dam):
        return shapely.Point(one.element.shape.spillway.coords[-1])
    if one.shape.geom_type == "LineString":
        return shapely.Point(one.shape.coords[-1])
    levels = standing.level_along(one.shape.exterior)
    points = along(one.shape.exterior, standing.step_m)
    return shapely.Point(points[int(np.nanargmin(levels))])


def name_near(point: shapely.Point, running: RunningGround) -> str:
    """Name of the shape nearest to a drawn end, empty where none is near."""
    distances = [shape.distance(point) for shape in running.shapes]
    if not distances or min(distances) > NEAR_M:
        return ""
    return running.names[1 + int(np.argmin(distances))]


def out_of_order(design: Design) -> Iterator[Finding]:
    """Find ways out that run in another order than the plan prefers."""
    stated: dict[str, list[tuple[float, Link]]] = {}
    for link, row in zip(design.links, design.drawn_ways, strict=True):
        if row is not None and not math.isnan(row.preference):
            stated.setdefault(link.from_id, []).append((row.preference, link))
    for name, ways in stated.items():
        ways.sort(key=lambda one: one[0])
        for (first, one), (then, other) in pairwise(ways):
            if first < then and other.outlet.crest_m <= one.outlet.crest_m:
                text = (
                    f"its way out with preference {then:g} lies at {other.outlet.crest_m:.2f} m,"
                    f" not above that with {first:g} at {one.outlet.crest_m:.2f} m"
                )
                yield Finding("out-of-order", name, text, other)
