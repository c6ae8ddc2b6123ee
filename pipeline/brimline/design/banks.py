"""What a failed bank would do: a screening of every element that holds water above ground."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.cascade.beyond import breach_peak_m3_s
from brimline.cascade.failure import failure_way, hazard_rating
from brimline.cascade.safety import water_on_bank_m
from brimline.design.extent import extents_of
from brimline.design.places import BUILDING
from brimline.drainage.flow import flow_directions
from brimline.grid.shapes import cells_touched
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.cascade.failure import FailureWay, InTheWay
    from brimline.design.elements import PlacedElement
    from brimline.design.making import Design
    from brimline.design.standing import StandingGround
    from brimline.elements.building import Building
    from brimline.grid import Elevation

ROAD: Final = "road"
_CUT_M: Final = 0.05  # a sill may lie this much over the ground and still stand on it


@dataclass(frozen=True, slots=True)
class BankLimits:
    """Thresholds for water that is held above ground.

    Parameters
    ----------
    height_volume_m4 : height times volume from which a licensed engineer is asked for [m⁴].
    water_m : water against fill from which it counts as an embankment pond [m].
    rating_m2_s : hazard rating from which what lies in the way is in danger [m²/s].
    spread_m, follow_m : how far the water may spread to a side, and is followed [m].
    """

    height_volume_m4: float
    water_m: float
    rating_m2_s: float
    spread_m: float
    follow_m: float


@dataclass(frozen=True, slots=True)
class BankHazard:
    """One bank and what its failure would do: its fields are columns of `bank_hazards`.

    Parameters
    ----------
    held_m3 : volume that only the bank holds back [m³].
    emergency_way : over what water leaves that no pipe takes.
    building_id, building_m : first building in the way, and how far the water runs to it [m];
        NaN where there is none, as for roads.
    leaves_m : way of the water to where it leaves the site [m]; infinite where it does not.
    """

    element_id: str
    height_m: float
    water_m: float
    held_m3: float
    height_volume_m4: float
    peak_m3_s: float
    rating_m2_s: float
    emergency_way: str
    shape: BaseGeometry
    limits: BankLimits
    building_id: str = ""
    building_m: float = math.nan
    buildings: int = 0
    road_id: str = ""
    road_m: float = math.nan
    roads: int = 0
    leaves_m: float = math.inf

    @property
    def found(self) -> list[tuple[str, str]]:
        """Codes of the thresholds that are passed, and what that means."""
        limits, told = self.limits, []
        if self.height_volume_m4 > limits.height_volume_m4:
            text = (
                f"height times volume is {self.height_volume_m4:.0f} m⁴, above"
                f" {limits.height_volume_m4:.0f} m⁴"
            )
            told.append(("engineer", text))
        near = "harm-below" if self.rating_m2_s >= limits.rating_m2_s else "failure-way"
        for name, way_m in ((self.building_id, self.building_m), (self.road_id, self.road_m)):
            if name:
                told.append((near, f"its water could reach {name} after {way_m:.0f} m"))
        if math.isfinite(self.leaves_m):
            text = f"its water would leave the site after {self.leaves_m:.0f} m"
            told.append(("failure-way", text))
        if self.emergency_way == "fill" and self.water_m >= limits.water_m:
            text = f"{self.water_m:.2f} m of water stand against its bank, and it spills over fill"
            told.append(("spillway-on-fill", text))
        return told

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look."""
        return tuple(code for code, _ in self.found)

    @property
    def notes(self) -> str:
        """The same in words."""
        return "; ".join(text for _, text in self.found)


def bank_hazards(
    design: Design,
    standing: StandingGround,
    how: Building,
    surveyed: Elevation,
    designed: Elevation,
    things: Mapping[str, Sequence[tuple[str, BaseGeometry]]],
    site: BaseGeometry,
    limits: BankLimits,
    progress: Callable[[float, str], None] = lambda *_: None,
) -> list[BankHazard]:
    """Let every bank fail that holds water above ground, one at a time, and follow the water.

    Parameters
    ----------
    surveyed, designed : float32 (rows, cols), ground as surveyed and as built [m].
    things : buildings and roads, by kind, each with a name.
    """
    banked = [
        one
        for one in design.placed
        if one.element.embankment_height_m > 0 and one.element.held_above_ground_m3 > 0
    ]
    if not banked:
        return []
    grid, reaches = standing.grid, extents_of(banked, standing, how)
    filled = fill(designed)  # a flood runs on over hollows
    directions = flow_directions(filled)
    hazards = []
    for place, one in enumerate(banked):
        progress(place / len(banked), f"below {one.name}")
        element, reach = one.element, reaches[one.name]
        height_m, volume_m3 = element.embankment_height_m, element.held_above_ground_m3
        way = failure_way(
            directions, filled, cells_touched(reach.earth.difference(reach.water), grid), grid,
            crest_m=element.crest_level_m, height_m=height_m, follow_m=limits.follow_m,
        )  # fmt: skip
        hit: dict[str, list[InTheWay]] = {} if way is None else {
            kind: way.reaches([shape for _, shape in every], surveyed, grid, limits.spread_m)
            for kind, every in things.items()
        }  # fmt: skip
        hazards.append(
            BankHazard(
                one.name, height_m, water_on_bank_m(element), volume_m3, height_m * volume_m3,
                breach_peak_m3_s(volume_m3, height_m), hazard_rating(height_m),
                _emergency_way(one, design, standing),
                one.shape if way is None else way.line, limits,
                *_first(hit, things, BUILDING), *_first(hit, things, ROAD),
                _leaves_m(way, site),
            )
        )  # fmt: skip
    return hazards


def _first(
    hit: Mapping[str, Sequence[InTheWay]],
    things: Mapping[str, Sequence[tuple[str, BaseGeometry]]],
    kind: str,
) -> tuple[str, float, int]:
    """Name of what is reached first, how far the water runs to it, and how many are reached."""
    found = hit.get(kind)
    if not found:
        return "", math.nan, 0
    return things[kind][found[0].place][0], found[0].distance_m, len(found)


def _leaves_m(way: FailureWay | None, site: BaseGeometry) -> float:
    return math.inf if way is None else way.leaves_m(site)


def _emergency_way(one: PlacedElement, design: Design, ground: StandingGround) -> str:
    """Say whether water that no pipe takes leaves over ground as it lies, over fill, or nowhere."""
    sills = [
        (link.outlet.crest_m, line)
        for link, line in zip(design.links, design.lines, strict=True)
        if link.from_id == one.name and not link.outlet.is_pipe
    ]
    if not sills:
        return "none"
    lies_on = [ground.level_at(line.interpolate(0)) >= level_m - _CUT_M for level_m, line in sills]
    return "natural ground" if any(lies_on) else "fill"
