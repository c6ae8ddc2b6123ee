"""A design as earth, and where water runs on it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.cascade.proof import prove
from brimline.config import Proof
from brimline.design import BUILDING, StandingWalls, discharges_of
from brimline.elements import Dam, Kind
from brimline.grid import LABEL_NONE
from brimline.grid.shapes import cells_inside
from brimline.layers.flags import joined
from brimline.stages._frames import positions
from brimline.stages._plan import BUILT
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.terrain.shaping import everywhere

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.cascade.proof import Proved
    from brimline.design import DesignedGround, DrawnDischarge
    from brimline.engine.stage import Given, Reporter
    from brimline.grid import BoolGrid, Grid, Labels
    from brimline.terrain.shaping import Everywhere

_NEAR_M: Final = 10.0  # over the boundary, on the way to a discharge point outside it
_WINDING: Final = (
    1.5  # a way along the ground against the straight one (common practice, no source)
)
_AWAY_M: Final = 5.0  # from the end of a sill, out over its bank
_SHORT_SHARE: Final = 0.1  # of an element's length (common practice, no source)
_SHORT_M: Final = (3.0, 10.0)  # at least and at most
_DISCHARGE_M: Final = 5.0  # water that comes this near to a discharge point has reached it


# what a stage must need to prove a design, next to the tables that follow
PROVED: Final = (
    *BUILT, "discharge_points", "keep_out_drawn", "boundary", "culverts", "hollows", SUPPORT,
)  # fmt: skip
PROVED_BY: Final = ("proof", "earthworks", "survey")


@dataclass(frozen=True, slots=True, eq=False)
class FollowedWay:
    """What water did with one element, as a row of design_proof, and its way."""

    row: dict[str, Any]
    line: shapely.LineString
    leaves: shapely.Point


class ProvedWater:
    """Runs water over designs on the ground of a run; needs `PROVED`.

    What no design changes is laid on the grid once, whatever the number of designs.
    """

    def __init__(self, given: Given) -> None:
        self.params = given.params("proof", Proof)
        self.grid = given.grid.finer(self.params.refine)
        self.walls = given.value("walls", StandingWalls)
        self.site = given.frame("boundary").geometry.union_all()
        self.inside = cells_inside(given.frame("boundary").geometry, self.grid)
        self.buildings = cells_inside(_buildings(given), self.grid)
        self.burns = [positions(line, self.grid) for line in given.frame("culverts").geometry]
        kept = given.frame("hollows")
        kept = kept[kept["kept"].to_numpy(dtype=np.bool_)]
        innermost = kept[~kept["hollow_id"].isin(kept["parent_id"])]
        self.hollows = [(one, cells_inside([one], self.grid)) for one in innermost.geometry]
        # the ground before a sill is known no better than the survey tells
        self.tolerance_m = max(self.params.tolerance_m, survey_error_m(given))

    def shown(
        self,
        site: DesignedGround,
        points: Sequence[DrawnDischarge],
        report: Reporter | None = None,
    ) -> tuple[list[FollowedWay], Everywhere]:
        """Run water over a designed surface."""
        fine = everywhere_walled(self.walls, site, self.params.refine)
        names, labels = _labels(site, points, fine.grid, fine.dug_by)
        sinks = self._ends(points, fine, labels, len(site.ready.elements))
        if report is not None:
            report.advanced(0.3, "running water over the designed surface")
        found = prove(
            fine.design_m,
            labels,
            [site.label_of(name) for name in site.dug],
            cell_m=fine.grid.cell_m,
            buildings=self.buildings,
            inside=self.inside,
            burns=self.burns,
            sinks=sinks,
        )
        outside_m = {
            len(site.ready.elements) + place: self.site.distance(row.shape)
            for place, row in enumerate(points, start=1)
        }
        arrivals = _arrivals(found, fine.grid)
        return [
            FollowedWay(
                _told(one, site, names, outside_m, self.tolerance_m, fine.grid, arrivals),
                _line(one, fine.grid),
                _leaves(one, fine.grid),
            )
            for one in found
        ], fine

    def _ends(
        self, points: Sequence[DrawnDischarge], fine: Everywhere, labels: Labels, elements: int
    ) -> BoolGrid:
        """Cells where water ends: the lowest ground of discharge points and of kept hollows.

        A discharge point inside a kept hollow stands for all of it, so the hollow's lowest ground
        takes its number in `labels`, in place. Dug cells never are an end: their element would be
        empty.
        """
        sinks = np.zeros(labels.shape, dtype=np.bool_)
        level = np.where((labels > 0) & (labels <= elements), np.inf, fine.design_m)
        level[~np.isfinite(level)] = np.inf
        for place in range(1, len(points) + 1):
            _sink(labels == elements + place, level, sinks)
        for shape, cells in self.hollows:
            lowest = _sink(cells, level, sinks)
            within = [place for place, row in enumerate(points) if row.shape.within(shape)]
            if lowest is not None and within and labels[lowest] == 0:
                labels[lowest] = elements + 1 + within[0]
        return sinks


def everywhere_walled(walls: StandingWalls, site: DesignedGround, factor: int) -> Everywhere:
    """Work out a design on the whole of its grid, with the walls that it leaves standing."""
    fine = everywhere(site.ready, factor)
    return replace(
        fine,
        ground_m=walls.put_on(fine.ground_m, fine.ground_m, factor),
        design_m=walls.put_on(fine.design_m, fine.ground_m, factor),
    )


def _labels(
    site: DesignedGround, points: Sequence[DrawnDischarge], grid: Grid, dug_by: Labels
) -> tuple[dict[int, str], Labels]:
    """Numbers of elements and discharge points on the fine grid, and what each is called."""
    names = dict(enumerate(site.ready.elements, start=1))
    pads = [site.label_of(name) for name in site.pads]
    labels = np.where(np.isin(dug_by, pads), LABEL_NONE, dug_by).astype(np.int32)
    for one in site.design.placed:
        if isinstance(one.element.shape, Dam) and one.name in site.dug:
            # what is dug of a dam is its spillway; its water stands over ground as it lies
            number = site.label_of(one.name)
            labels[labels == number] = LABEL_NONE
            labels[cells_inside([one.shape], grid) & (labels == LABEL_NONE)] = number
    for end, row in zip(discharges_of(points), points, strict=True):
        number = len(names) + 1
        names[number] = end.discharge_id
        here = cells_inside([row.shape.buffer(_DISCHARGE_M)], grid, all_touched=True)
        labels[here & (labels == 0)] = number
    return names, labels


def _sink(
    area: BoolGrid, level: NDArray[np.float64], sinks: BoolGrid
) -> tuple[np.intp, ...] | None:
    """Make the lowest cell of an area a sink, in place; None where it has none to be."""
    ground = np.where(area, level, np.inf)
    lowest = np.unravel_index(np.argmin(ground), ground.shape)
    if not np.isfinite(ground[lowest]):
        return None
    sinks[lowest] = True
    return lowest


def _buildings(given: Given) -> list[shapely.Geometry]:
    drawn = given.frame("keep_out_drawn")
    return list(drawn.geometry[drawn["kind"] == BUILDING])


def _told(
    one: Proved,
    site: DesignedGround,
    names: dict[int, str],
    outside_m: dict[int, float],
    tolerance_m: float,
    grid: Grid,
    arrivals: Mapping[int, list[tuple[int, shapely.Point]]],
) -> dict[str, Any]:
    name = names[one.label]
    network = site.design.network
    element, spill, meant = network.element(name), site.level_of(name), network.spills_to(name)
    reached = names.get(one.reached, "")
    found: list[tuple[str, str]] = []
    over = one.brim_level_m - spill
    if element.kind is not Kind.DRAIN and over < -tolerance_m:
        found.append(("leaks", f"water leaves {-over:.2f} m below its sill"))
    if element.kind is not Kind.DRAIN and over > tolerance_m:
        found.append(("sill-shut", f"water stands {over:.2f} m over its sill before it spills"))
    sills = site.sills.get(name, [])
    leaves = _leaves(one, grid)
    made = element.shape
    ways = [
        (made.spillway_for(sill.width_m) if isinstance(made, Dam) else sill.place, sill.width_m / 2)
        for sill in sills
    ]
    away_m = min((way.distance(leaves) - half_m for way, half_m in ways), default=0.0)
    if over >= -tolerance_m and away_m > _AWAY_M:
        found.append(("leaks", f"water leaves {away_m:.0f} m beside its sill"))
    near = _nearest(site, name, arrivals.get(one.label, []))
    near_m = min(max(_SHORT_SHARE * _length(site.shape_of(name)), _SHORT_M[0]), _SHORT_M[1])
    if near is not None and near[1] < near_m:
        feeder = names[near[0]]
        found.append(
            ("short-circuit", f"what {feeder} spills arrives {near[1]:.1f} m from the sill")
        )
    on_ground = set(names.values())
    if meant in on_ground and reached != meant:
        found.append(("reaches-other", f"its overflow reaches {reached or 'nothing'}, not {meant}"))
    if one.at_building:
        found.append(("at-building", "its overflow runs through a building"))
    if one.outside_m > _WINDING * outside_m.get(one.reached, 0.0) + _NEAR_M:
        found.append(("over-boundary", f"its overflow runs {one.outside_m:.0f} m outside"))
    return {
        "element_id": name,
        "spill_level_m": spill,
        "brim_level_m": one.brim_level_m,
        "meant_id": meant or None,
        "reached_id": reached or None,
        "holds_m3": one.holds_m3,
        "storage_m3": float(element.stages.storage_at(spill)),
        "flag": joined([code for code, _ in found]),
        "notes": "; ".join(text for _, text in found) or None,
    }


def _arrivals(found: Sequence[Proved], grid: Grid) -> dict[int, list[tuple[int, shapely.Point]]]:
    """By what is reached: what spills to it, and where its water arrives."""
    places: dict[int, list[tuple[int, shapely.Point]]] = {}
    for one in found:
        if one.reached:
            at = shapely.Point(*grid.xy(one.rows[-1], one.cols[-1]))
            places.setdefault(one.reached, []).append((one.label, at))
    return places


def _nearest(
    site: DesignedGround, name: str, arrivals: Sequence[tuple[int, shapely.Point]]
) -> tuple[int, float] | None:
    """Which water arrives nearest to a sill of the element, and how near [m]."""
    pairs = [
        (at.distance(sill.place), label)
        for label, at in arrivals
        for sill in site.sills.get(name, [])
    ]
    if not pairs:
        return None
    distance, label = min(pairs)
    return label, distance


def _length(shape: shapely.Geometry) -> float:
    """Length of a line, long side of an outline [m]."""
    if shapely.get_dimensions(shape) == 1:
        return float(shape.length)
    corners = shapely.get_coordinates(shape.minimum_rotated_rectangle)
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).max())


def _line(one: Proved, grid: Grid) -> shapely.LineString:
    points = np.column_stack(grid.xy(one.rows, one.cols))
    if len(points) < 2:
        points = np.vstack([points, points + np.array([grid.cell_m, 0.0])])
    return shapely.LineString(points)


def _leaves(one: Proved, grid: Grid) -> shapely.Point:
    """Return where water first stands no more, on its way out of an element."""
    return shapely.Point(*grid.xy(one.rows[one.leaves], one.cols[one.leaves]))
