"""What is dug and filled again, and linings: trenches of pipes, pits of tanks, sheets of ponds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.elements.basin import Basin
from brimline.elements.bed import RaisedBed
from brimline.elements.building.bill import Quantity
from brimline.elements.pond import Pond, longest_side_m
from brimline.elements.tank import Tank
from brimline.lines.staking import Tolerance, fall_tolerance, stakes_on, stations_along

if TYPE_CHECKING:
    from brimline.elements.element import Element
    from brimline.elements.pipe import Pipe
    from brimline.lines.staking import Stake
    from brimline.terrain.shaping import LevelsAt

DEEP_M: Final = 1.2  # a dig from which sides are battered or shored (common practice, no source)
_WALL: Final = 0.05  # of a pipe, over its inside diameter (common practice, no source)
_STEP_M: Final = 0.1
_ANCHOR_M: Final = 0.6  # 12 in deep and 12 in wide (NRCS Arizona, specification 521A, 2008)
_LAP_M: Final = 0.15  # 4 to 6 in of overlap at a seam (common practice; the maker's words rule)
_LEVEL_M: Final = 0.01  # over the floor of a raised bed (common practice, no source)
_CLAY_M: Final = 0.3  # 12 in of compacted clay (USDA Agriculture Handbook 590; from memory)


@dataclass(frozen=True, slots=True)
class Refilled:
    """A dig that is filled again [m³].

    Parameters
    ----------
    dug_m3 : in place, topsoil among it.
    bedding_m3 : beneath what is buried.
    buried_m3 : taken by what is buried.
    deepest_m : from the ground to the bottom [m].
    shallow_m : length in the ground over which less than the least cover lies over a pipe [m].
    above_m : length over which a pipe lies on or over the ground [m].
    """

    dug_m3: float
    bedding_m3: float
    buried_m3: float
    deepest_m: float
    shallow_m: float = 0.0
    above_m: float = 0.0

    @property
    def spoil_m3(self) -> float:
        """Ground that does not go back, in place [m³]."""
        return min(self.bedding_m3 + self.buried_m3, self.dug_m3)

    def quantities(self, element_id: str, note: str) -> list[Quantity]:
        """Return the rows of the bill."""
        amounts = {
            "trench": self.dug_m3,
            "bedding": self.bedding_m3,
            "backfill": self.dug_m3 - self.spoil_m3,
            "trench_spoil": self.spoil_m3,
        }
        return [Quantity(element_id, item, value, note) for item, value in amounts.items() if value]


@dataclass(frozen=True, slots=True, eq=False)
class Trench:
    """The trench of a pipe, with upright sides.

    Parameters
    ----------
    name : of the pipe.
    line : from its inlet.
    width_m : NaN is `usual_width_m` [m].
    least_cover_m : ground over the pipe below which it is told [m].
    """

    element_id: str
    name: str
    line: shapely.LineString
    pipe: Pipe
    bedding_m: float
    width_m: float
    least_cover_m: float

    @property
    def outside_m(self) -> float:
        """Outside diameter of the pipe [m]."""
        return self.pipe.diameter_m * (1 + 2 * _WALL)

    @property
    def wide_m(self) -> float:
        """Width of the trench [m]."""
        return usual_width_m(self.outside_m) if math.isnan(self.width_m) else self.width_m

    def bottom_m(self, chainage_m: np.ndarray) -> np.ndarray:
        """Level of its bottom along the line [m]."""
        invert = self.pipe.crest_m - self.pipe.fall * np.asarray(chainage_m, np.float64)
        return invert - self.pipe.diameter_m * _WALL - self.bedding_m

    def measured(self, ground: LevelsAt) -> Refilled:
        """Measure it on the ground by upright slices; where the pipe lies above it, none is dug."""
        count = max(round(self.line.length / _STEP_M), 1)
        step_m = self.line.length / count
        at = (np.arange(count) + 0.5) * step_m
        x, y = shapely.get_coordinates(shapely.line_interpolate_point(self.line, at)).T
        depth = np.nan_to_num(ground(x, y) - self.bottom_m(at), nan=0.0)
        dug = depth > self.bedding_m
        length_m = float(dug.sum()) * step_m
        cover = depth - self.bedding_m - self.outside_m
        return Refilled(
            float(depth[dug].sum()) * step_m * self.wide_m,
            length_m * self.wide_m * self.bedding_m,
            length_m * math.pi / 4 * self.outside_m**2,
            float(depth.max()),
            float((dug & (cover < self.least_cover_m)).sum()) * step_m,
            float((~dug).sum()) * step_m,
        )

    def stakes(
        self, role: str, interval_m: float, turn_deg: float, ground: LevelsAt
    ) -> list[Stake]:
        """Stake its bottom, where it is dug."""
        stations = stations_along(self.line, interval_m, turn_deg=turn_deg)
        levels = self.bottom_m(stations.chainage_m)
        tolerance = fall_tolerance(self.pipe.fall * min(interval_m, self.line.length))
        stakes = stakes_on(
            self.element_id, role, stations, ground, lambda x, y: levels + 0 * (x + y),
            tolerance=tolerance,
        )  # fmt: skip
        return [one for one in stakes if not one.design_m > one.ground_m - self.bedding_m]


def usual_width_m(outside_m: float) -> float:
    """Width of a trench for a pipe of an outside diameter [m].

    The larger of the diameter and 16 in, and 1.25 times it and 12 in (ASTM D2321, read in a maker's
    guide).
    """
    return max(outside_m + 0.406, 1.25 * outside_m + 0.305)


def pit_of(tank: Tank) -> Refilled | None:
    """Measure the pit of a buried tank, a frustum on a square; None where it stands on the ground.

    V = d/3 (a² + a b + b²), a the side of its bottom, b = a + 2 z d.
    """
    pit = tank.pit
    if pit is None:
        return None
    bottom_m = tank.pit_side_m
    sunk_m = min(tank.height_m + tank.rim_m, pit.depth_m - pit.bedding_m)
    return Refilled(
        _frustum_m3(bottom_m, pit.side, pit.depth_m),
        _frustum_m3(bottom_m, pit.side, pit.bedding_m),
        tank.plan_area_m2 * sunk_m,
        pit.depth_m,
    )


def pit_stakes(tank: Tank, place: shapely.Point, ground: LevelsAt) -> list[Stake]:
    """Stake the corners of the bottom of a buried tank's pit, and its middle."""
    if tank.pit is None:
        return []
    level_m = tank.base_level_m - tank.pit.bedding_m
    half_m = tank.pit_side_m / 2
    ring = place.buffer(half_m, cap_style="square").exterior
    line = shapely.LineString([*ring.coords[:4], (place.x, place.y)])
    stations = stations_along(line, 10 * line.length, turn_deg=1.0)
    tolerance = Tolerance(0.05, "the tank would stand too high for what runs to it")
    return stakes_on(
        tank.element_id, "pit", stations, ground, lambda x, y: level_m + 0 * (x + y),
        tolerance=tolerance,
    )  # fmt: skip


def bed_stakes(bed: RaisedBed, ground: LevelsAt) -> list[Stake]:
    """Stake the corners of a raised bed at the level of its floor."""
    stations = stations_along(
        shapely.LineString(bed.outline.exterior.coords[:-1]), 1e3, turn_deg=15.0
    )
    tolerance = Tolerance(_LEVEL_M, "its reservoir would hold less at one end than at the other")
    return stakes_on(
        bed.element_id, "base", stations, ground, lambda x, y: bed.base_level_m + 0 * (x + y),
        tolerance=tolerance,
    )  # fmt: skip


def fitting_quantities(element: Element) -> list[Quantity]:
    """Fill of basins, lining and plants of ponds, parts of raised beds, pits of tanks."""
    name = element.element_id
    match element.shape:
        case Basin() as basin if basin.fill:
            return [Quantity(name, "gravel", basin.fill_m3, basin.form)]
        case Pond() as pond:
            return _pond(pond)
        case RaisedBed() as bed:
            return [
                Quantity(name, "bed_wall", bed.wall_m2),
                Quantity(name, "liner", bed.lined_m2, "bed"),
                Quantity(name, "gravel", bed.gravel_m3, "reservoir of a bed"),
                Quantity(name, "bed_soil", bed.soil_m3),
            ]
        case Tank() as tank if (dig := pit_of(tank)) is not None:
            return dig.quantities(name, "pit")
    return []


def _pond(pond: Pond) -> list[Quantity]:
    name, found = pond.element_id, []
    if pond.shelf_m2 > 0:
        found.append(Quantity(name, "shelf_plants", pond.shelf_m2))
    if pond.lining == "clay":
        found.append(Quantity(name, "clay", pond.lined_m2 * _CLAY_M))
    if pond.lining == "sheet":
        over_m = pond.side * (pond.crest_level_m - pond.spill_level_m)
        crest = pond.outline.buffer(over_m, join_style="mitre")
        found += [
            Quantity(name, "liner", pond.lined_m2, "floor and sides"),
            Quantity(name, "liner", crest.length * _ANCHOR_M, "anchor"),
            Quantity(name, "liner", _laps_m2(pond, crest), "laps"),
        ]
    return [one for one in found if one.amount > 0]


def _laps_m2(pond: Pond, crest: shapely.Polygon) -> float:
    """Overlap of sheets laid along the pond's longer side [m²]."""
    long_m = longest_side_m(crest)
    box_m2 = float(crest.minimum_rotated_rectangle.area)
    deep_m = pond.crest_level_m - pond.spill_level_m + pond.dug_depth_m
    run_m = pond.side * (pond.crest_level_m - pond.spill_level_m) + pond.offset_m(pond.dug_depth_m)
    longer_m = 2 * (math.hypot(deep_m, run_m) - run_m + _ANCHOR_M)  # over slopes and into anchors
    across_m = box_m2 / long_m + longer_m
    seams = max(math.ceil((across_m - _LAP_M) / (pond.sheet_m - _LAP_M)), 1) - 1
    return seams * _LAP_M * (long_m + longer_m)


def _frustum_m3(bottom_m: float, side: float, depth_m: float) -> float:
    top_m = bottom_m + 2 * side * depth_m
    return depth_m / 3 * (bottom_m**2 + bottom_m * top_m + top_m**2)
