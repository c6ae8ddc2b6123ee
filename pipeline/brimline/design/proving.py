"""Where water runs on a design as earth, and whether that is what was meant."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.cascade.proof import prove
from brimline.design.ways import discharges_of
from brimline.elements import Dam, Kind
from brimline.grid import LABEL_NONE
from brimline.grid.shapes import cells_inside
from brimline.terrain.shaping import everywhere

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.cascade.proof import Proved
    from brimline.design.earth import DesignedGround
    from brimline.design.plan import DrawnDischarge
    from brimline.design.walls import StandingWalls
    from brimline.grid import BoolGrid, Grid, Labels
    from brimline.terrain.shaping import Everywhere

_BESIDE_M: Final = 0.5
_NEAR_M: Final = 10.0  # over the boundary, on the way to a discharge point outside it
_WINDING: Final = (
    1.5  # a way along the ground against the straight one (common practice, no source)
)
_AWAY_M: Final = 5.0  # from the end of a sill, out over its bank
_SHORT_SHARE: Final = 0.1  # of an element's length (common practice, no source)
_SHORT_M: Final = (3.0, 10.0)  # at least and at most
_DISCHARGE_M: Final = 5.0  # water that comes this near to a discharge point has reached it


@dataclass(frozen=True, slots=True, eq=False)
class FollowedWay:
    """What water did with one element: its fields are columns of `design_proof`.

    Parameters
    ----------
    meant_id, reached_id : what it should spill to, and what its water reaches; empty where nothing.
    found : codes of flags, and what each says.
    line, leaves : the way of its water, and where water first stands no more on it.
    """

    element_id: str
    spill_level_m: float
    brim_level_m: float
    meant_id: str
    reached_id: str
    holds_m3: float
    storage_m3: float
    found: tuple[tuple[str, str], ...]
    line: shapely.LineString
    leaves: shapely.Point

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look."""
        return tuple(dict.fromkeys(code for code, _ in self.found))

    @property
    def notes(self) -> str:
        """The same in words."""
        return "; ".join(text for _, text in self.found)


class ProvedWater:
    """Runs water over designs on one ground.

    What no design changes is laid on the grid once, whatever the number of designs.

    Parameters
    ----------
    refine : parts that a cell of the grid is split into.
    boundary, buildings, hollows : outlines of the site, of buildings, and of hollows that are kept,
        the innermost ones.
    culverts : lines of pipes under tracks.
    tolerance_m : how far a level may be off; no less than the survey errs [m].
    """

    def __init__(
        self, grid: Grid, refine: int, walls: StandingWalls, *,
        boundary: Sequence[BaseGeometry], buildings: Sequence[BaseGeometry],
        hollows: Sequence[BaseGeometry], culverts: Sequence[shapely.LineString],
        tolerance_m: float,
    ) -> None:  # fmt: skip
        self.refine, self.grid, self.walls = refine, grid.finer(refine), walls
        self.site = shapely.union_all(list(boundary))
        self.inside = cells_inside(boundary, self.grid)
        self.buildings = cells_inside(buildings, self.grid)
        self.burns = [_positions(line, self.grid) for line in culverts]
        self.hollows = [(one, cells_inside([one], self.grid)) for one in hollows]
        self.tolerance_m = tolerance_m

    def dug(self, site: DesignedGround) -> Everywhere:
        """Return the designed surface as water is run over it."""
        return everywhere_walled(self.walls, site, self.refine)

    def shown(
        self,
        site: DesignedGround,
        points: Sequence[DrawnDischarge],
    ) -> tuple[list[FollowedWay], Everywhere]:
        """Run water over a designed surface."""
        fine = self.dug(site)
        names, labels = _labels(site, points, fine.grid, fine.dug_by)
        sinks = self._ends(points, fine, labels, len(site.ready.elements))
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
            followed_way(one, site, names, outside_m, self.tolerance_m, fine.grid, arrivals)
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


def cut_away_by(site: DesignedGround, fine: Everywhere, name: str) -> tuple[str, float]:
    """Return which other element is dug where one stands, and over how much of its line.

    Returns
    -------
    its name, empty where there is none; and the share of the line or outline of `name`.
    """
    points = shapely.get_coordinates(shapely.segmentize(site.shape_of(name), _BESIDE_M))
    row, col = fine.grid.cell(points[:, 0], points[:, 1])
    inside = fine.grid.holds(row, col)
    labels = fine.dug_by[row[inside], col[inside]]
    others = labels[(labels > 0) & (labels <= len(site.ready.elements))]
    others = others[others != site.label_of(name)]
    if not others.size:
        return "", 0.0
    most = int(np.bincount(others).argmax())
    return site.ready.elements[most - 1], float((labels == most).mean())


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


def followed_way(
    one: Proved,
    site: DesignedGround,
    names: dict[int, str],
    outside_m: dict[int, float],
    tolerance_m: float,
    grid: Grid,
    arrivals: Mapping[int, list[tuple[int, shapely.Point]]],
) -> FollowedWay:
    """Say what water did with one element, and whether that is what was meant.

    Parameters
    ----------
    names : of elements and discharge points, by number.
    outside_m : how far each discharge point lies outside the site [m].
    arrivals : by what is reached, what spills to it and where its water arrives.
    """
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
    return FollowedWay(
        name, spill, one.brim_level_m, meant, reached, one.holds_m3,
        float(element.stages.storage_at(spill)), tuple(found), _line(one, grid), leaves,
    )  # fmt: skip


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


def _positions(line: shapely.LineString, grid: Grid) -> NDArray[np.float64]:
    x, y = shapely.get_coordinates(line).T
    return np.column_stack(grid.position(x, y))


def _line(one: Proved, grid: Grid) -> shapely.LineString:
    points = np.column_stack(grid.xy(one.rows, one.cols))
    if len(points) < 2:
        points = np.vstack([points, points + np.array([grid.cell_m, 0.0])])
    return shapely.LineString(points)


def _leaves(one: Proved, grid: Grid) -> shapely.Point:
    """Return where water first stands no more, on its way out of an element."""
    return shapely.Point(*grid.xy(one.rows[one.leaves], one.cols[one.leaves]))
