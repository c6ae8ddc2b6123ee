"""The designed ground, worked out anew by each stage that asks it for levels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import pandas as pd
import shapely

from brimline.elements.building import Building, Outfall, SillAt, pad_of, shapes_of
from brimline.lines.sample import surface_at
from brimline.terrain.shaping import design

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.elements.building import Plane
    from brimline.engine.stage import Given
    from brimline.grid import Elevation, Grid
    from brimline.terrain.shaping import Design, LevelsAt, Shape

# what a stage must need to call `designed`
NEEDS: Final = (
    "grid", "elevation", "elements", "overflows", "built", "drawn_pads", "building_rules",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Designed:
    """Elements as earth on the survey.

    Parameters
    ----------
    ready : the design; element number k is `ready.elements[k - 1]`, pads among them.
    elements : rows of the elements that earth is moved for, by name; pads are not among them.
    built : their dimensions.
    sills : their sills.
    pads : outlines and planes of pads, by name.
    unmade : names of pads that could not be made, and why.
    """

    ready: Design
    elements: GeoDataFrame
    built: dict[str, Any]
    sills: dict[str, list[SillAt]]
    ground: LevelsAt
    pads: dict[str, tuple[shapely.Polygon, Plane]]
    unmade: dict[str, str]

    def levels(self, x: NDArray[Any], y: NDArray[Any]) -> NDArray[Any]:
        """Designed levels at points, banks settled."""
        return self.ready.at(x, y, self.ground(x, y)).level_m

    def label_of(self, element_id: str) -> int:
        """Return the number of an element in the design."""
        return self.ready.elements.index(element_id) + 1

    def level_of(self, element_id: str) -> float:
        """Spill level of an element, level of a pad [m]."""
        if element_id in self.pads:
            return self.pads[element_id][1].level_m
        return float(self.elements.loc[element_id, "spill_level_m"])

    def shape_of(self, element_id: str) -> shapely.Geometry:
        """Return the line or outline that was drawn."""
        if element_id in self.pads:
            return self.pads[element_id][0]
        return self.elements.geometry[element_id]


def designed(given: Given) -> Designed:
    """Build every element on the survey, by the rules that the stage earthworks was given."""
    rules = given.facts("building_rules")
    return made(given, Building(**rules["how"]), rules["limit_m"])


def made(given: Given, how: Building, limit_m: float) -> Designed:
    """Build every element on the survey."""
    grid, dem = given.grid, given.raster("elevation")
    elements = given.frame("elements").set_index("element_id", drop=False)
    built = {name: rows for name, rows in given.facts("built").items() if "kind" in rows}
    overflows = given.frame("overflows")
    sills = sills_of(overflows)
    outfalls = outfalls_of(overflows, elements["spill_level_m"].to_dict())
    ground = ground_of(dem, grid)
    pads, shapes, unmade = _pads(given.frame("drawn_pads"), set(elements.index), ground)
    for name in elements.index:
        if name in built:
            shapes += shapes_of(
                name, built[name], elements.geometry[name], sills.get(name, []), ground, how,
                outfall=outfalls.get(name),
            )  # fmt: skip
    ready = design(dem, grid, shapes, limit_m=limit_m)
    dug = elements.loc[[name for name in ready.elements if name not in pads]]
    return Designed(ready, dug, built, sills, ground, pads, unmade)


def _pads(
    drawn: GeoDataFrame, taken: set[str], ground: LevelsAt
) -> tuple[dict[str, tuple[shapely.Polygon, Plane]], list[Shape], dict[str, str]]:
    """Make pads: by name, their shapes, and what could not be made."""
    found: dict[str, tuple[shapely.Polygon, Plane]] = {}
    shapes: list[Shape] = []
    unmade = {}
    for number, row in enumerate(drawn.itertuples(index=False), start=1):
        name = row.name.strip() if isinstance(row.name, str) else ""
        name = name or f"pad {number}"
        if name in taken:
            name = f"{name} (pad)"
        outline = shapely.get_parts(row.geometry)[0]
        try:
            pad, plane = pad_of(
                name, outline, ground, level_m=_number(row.level_m),
                fall_pct=_number(row.fall_pct), falls_to_deg=_number(row.falls_to_deg),
                side=_number(row.side), only=row.only if isinstance(row.only, str) else "",
            )  # fmt: skip
        except ValueError as error:
            unmade[name] = str(error)
            continue
        shapes.append(pad)
        found[name] = (outline, plane)
    return found, shapes, unmade


def _number(value: Any) -> float:  # noqa: ANN401 - a cell
    return math.nan if pd.isna(value) else float(value)


def ground_of(dem: Elevation, grid: Grid) -> LevelsAt:
    """Levels of the survey at points."""

    def levels(x: NDArray[Any], y: NDArray[Any]) -> NDArray[Any]:
        return surface_at(dem, grid, x, y)

    return levels


def sills_of(overflows: GeoDataFrame) -> dict[str, list[SillAt]]:
    """Sills with a width, by the element that they leave."""
    found: dict[str, list[SillAt]] = {}
    for row in overflows.itertuples(index=False):
        if row.outlet == "sill" and not pd.isna(row.sill_width_m) and row.sill_width_m > 0:
            place = shapely.Point(row.geometry.coords[0])
            found.setdefault(row.from_id, []).append(
                SillAt(row.crest_level_m, row.sill_width_m, place)
            )
    return found


def outfalls_of(overflows: GeoDataFrame, spill_levels_m: dict[str, float]) -> dict[str, Outfall]:
    """Ways from the ends of drains, by the drain that they leave."""
    return {
        row.from_id: Outfall(row.geometry, spill_levels_m.get(row.to_id, math.nan))
        for row in overflows.itertuples(index=False)
        if row.outlet == "drain"
    }
