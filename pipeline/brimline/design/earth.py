"""A design as earth on the survey: the designed ground, asked for levels anywhere."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from brimline.design.buried import dips_of, trenches_of
from brimline.elements import Rating, Sill
from brimline.elements.building import Building, Outfall, SillAt, pad_of, shapes_of
from brimline.lines.sample import checked_on_grid, levels_of
from brimline.terrain.shaping import design as shaped_design

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from brimline.design.making import Design
    from brimline.design.plan import DrawnPad
    from brimline.elements import Element
    from brimline.elements.building import PathDip, Plane, Trench
    from brimline.grid import Elevation, Grid
    from brimline.terrain.shaping import DesignSurface as ShapedDesign
    from brimline.terrain.shaping import GroundShape, LevelsAt


@dataclass(frozen=True, slots=True)
class DesignedGround:
    """Elements as earth on the survey.

    Parameters
    ----------
    design : what is built.
    ready : the surface; element number k is `ready.elements[k - 1]`, pads among them.
    dug : names of the elements that earth is moved for, by their numbers; pads are not among them.
    sills : their sills.
    dips : dips in paths that their ways out cross.
    trenches : of pipes.
    ground : levels of the survey at points.
    pads : outlines and planes of pads, by name.
    unmade : names of pads that could not be made, and why.
    """

    design: Design
    ready: ShapedDesign
    dug: tuple[str, ...]
    sills: dict[str, list[SillAt]]
    dips: dict[str, list[PathDip]]
    trenches: tuple[Trench, ...]
    ground: LevelsAt
    pads: dict[str, tuple[shapely.Polygon, Plane]]
    unmade: dict[str, str]

    def element(self, name: str) -> Element | None:
        """Return an element by name; None for a pad."""
        return None if name in self.pads else self.design.network.element(name)

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Designed levels at points, banks settled."""
        return self.ready.at(x, y, self.ground(x, y)).level_m

    def label_of(self, element_id: str) -> int:
        """Return the number of an element in the design."""
        return self.ready.elements.index(element_id) + 1

    def level_of(self, element_id: str) -> float:
        """Spill level of an element, level of a pad [m]."""
        if element_id in self.pads:
            return self.pads[element_id][1].level_m
        return self.design.network.spill_level_m(element_id)

    def shape_of(self, element_id: str) -> shapely.Geometry:
        """Return the line or outline that was drawn."""
        if element_id in self.pads:
            return self.pads[element_id][0]
        return self.design.shape_of(element_id)


def designed_ground(
    design: Design,
    pads: Sequence[DrawnPad],
    dem: Elevation,
    grid: Grid,
    how: Building,
    limit_m: float,
) -> DesignedGround:
    """Build every element on the survey.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    limit_m : how far a batter may run to meet the ground [m].
    """
    survey = checked_on_grid(dem, grid)

    def ground(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        return levels_of(survey, grid, x, y)

    sills, outfalls, dips = _sills_of(design), _outfalls_of(design), dips_of(design)
    made, shapes, unmade = _pads(pads, set(design.network.index), ground)
    for one in design.placed:
        shapes += shapes_of(
            one.element, one.shape, sills.get(one.name, []), ground, how,
            outfall=outfalls.get(one.name), dips=dips.get(one.name, ()),
        )  # fmt: skip
    ready = shaped_design(dem, grid, shapes, limit_m=limit_m)
    dug = tuple(name for name in ready.elements if name not in made)
    return DesignedGround(
        design, ready, dug, sills, dips, trenches_of(design), ground, made, unmade
    )


def _pads(
    drawn: Sequence[DrawnPad], taken: set[str], ground: LevelsAt
) -> tuple[dict[str, tuple[shapely.Polygon, Plane]], list[GroundShape], dict[str, str]]:
    """Make pads: by name, their shapes, and what could not be made."""
    found: dict[str, tuple[shapely.Polygon, Plane]] = {}
    shapes: list[GroundShape] = []
    unmade = {}
    for row in drawn:
        name = f"{row.name} (pad)" if row.name in taken else row.name
        outline = shapely.get_parts(row.shape)[0]
        try:
            pad, plane = pad_of(
                name, outline, ground, level_m=row.level_m, fall_pct=row.fall_pct,
                falls_to_deg=row.falls_to_deg, side=row.side, only=row.only,
            )  # fmt: skip
        except ValueError as error:
            unmade[name] = str(error)
            continue
        shapes.append(pad)
        found[name] = (outline, plane)
    return found, shapes, unmade


def _sills_of(design: Design) -> dict[str, list[SillAt]]:
    """Sills with a width, by the element that they leave."""
    found: dict[str, list[SillAt]] = {}
    for link, line in zip(design.links, design.lines, strict=True):
        sill = link.outlet
        if isinstance(sill, Sill) and sill.width_m > 0:
            place = shapely.Point(line.coords[0])
            found.setdefault(link.from_id, []).append(SillAt(sill.crest_m, sill.width_m, place))
    return found


def _outfalls_of(design: Design) -> dict[str, Outfall]:
    """Ways from the ends of drains, by the drain that they leave."""
    network = design.network
    return {
        link.from_id: Outfall(
            line, network.spill_level_m(link.to_id) if link.to_id in network.index else math.nan
        )
        for link, line in zip(design.links, design.lines, strict=True)
        if isinstance(link.outlet, Rating) and not link.outlet.is_pipe
    }
