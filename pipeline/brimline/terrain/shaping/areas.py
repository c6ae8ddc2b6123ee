"""Shapes inside an outline: bowls of ponds and basins, and pads brought to a plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.terrain.shaping.shapes import (
    Levels,
    check_not_negative,
    check_polygon,
    outwards,
    rise_over,
)

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray


SHELF_FALL: Final = 0.1  # an edge shelf falls at 1 in 10, so that no one stands in deep water


@dataclass(frozen=True, slots=True, eq=False)
class Bowl:
    """A pond or basin: an outline at its full level, sides within, a bank around where needed.

    Inside the outline the ground is set to the bowl. Outside it rises at the same batter, as a
    cut, until it meets the ground; where the ground is lower, as the water face of a bank up to
    the crest.

    Parameters
    ----------
    outline : polygon of the waterline when full.
    level_m : level of the outline [m].
    depth_m : from it to the floor [m].
    side : batter of the sides.
    shelf_width_m, shelf_depth_m : an edge shelf of that width that begins at that depth below
        `level_m` and falls at 1 in 10; width 0 is none [m].
    crest_m : settled level of the bank's top; none is built where left out [m].
    top_m : width of the bank's top [m].
    outer : batter of the bank's outer side.
    settlement : as `Bank`.

    Raises
    ------
    ValueError
        If the outline is not a valid polygon, a size is out of range or the crest lies below the
        level.
    """

    element_id: str
    outline: shapely.Polygon
    level_m: float
    depth_m: float
    side: float = 3.0
    shelf_width_m: float = 0.0
    shelf_depth_m: float = 0.3
    crest_m: float | None = None
    top_m: float = 1.0
    outer: float = 2.0
    settlement: float = 0.0

    def __post_init__(self) -> None:
        check_polygon(self.element_id, self.outline)
        check_not_negative(
            self.element_id,
            side=self.side, shelf_width_m=self.shelf_width_m, shelf_depth_m=self.shelf_depth_m,
            top_m=self.top_m, outer=self.outer, settlement=self.settlement,
        )  # fmt: skip
        if not self.depth_m > 0:
            raise ValueError(f"{self.element_id}: depth_m must be above 0 m, got {self.depth_m}")
        if self.crest_m is not None and self.crest_m < self.level_m:
            raise ValueError(
                f"{self.element_id}: the crest at {self.crest_m} m lies below the full level of "
                f"{self.level_m} m"
            )

    @property
    def core(self) -> shapely.Geometry:
        """The outline."""
        return self.outline

    @property
    def through(self) -> bool:
        """Its water face is cut clean however high its bank is built."""
        return True

    @property
    def core_reach_m(self) -> float:
        """Out to the outer edge of the bank's top."""
        if self.crest_m is None:
            return 0.0
        return (self.crest_m - self.level_m) * self.side + self.top_m

    def depth_at(self, inwards_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Depth of the bowl at distances inwards from the outline [m]."""
        if not self.shelf_width_m:
            return np.minimum(rise_over(inwards_m, self.side), self.depth_m)
        begins = self.shelf_depth_m * self.side
        ends = begins + self.shelf_width_m
        shelf = self.shelf_depth_m + np.clip(inwards_m - begins, 0, self.shelf_width_m) * SHELF_FALL
        above = np.minimum(rise_over(inwards_m, self.side), shelf)
        return np.minimum(above + rise_over(np.maximum(inwards_m - ends, 0), self.side),
                          self.depth_m)  # fmt: skip

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64], reach_m: float) -> Levels:
        """Bowl inside the outline, batter and bank outside it."""
        out = outwards(self.outline, x, y)
        inside = out <= 0
        bowl = self.level_m - self.depth_at(np.maximum(-out, 0))
        face = self.level_m + rise_over(np.maximum(out, 0), self.side)
        near = out <= reach_m
        dug = np.where(inside, bowl, np.where(near, face, np.inf))
        bank = np.full(x.shape, -np.inf)
        if self.crest_m is not None:
            past = np.maximum(out - self.core_reach_m, 0)
            bank = np.minimum(face, self.crest_m - rise_over(past, self.outer))
        return Levels(dug, np.where(inside, bowl, np.where(near, bank, -np.inf)))


@dataclass(frozen=True, slots=True, eq=False)
class Pad:
    """An area brought to a plane: a terrace, a yard, a raised or resurfaced bed.

    Parameters
    ----------
    outline : polygon that is brought to the plane.
    level_m : level of the plane at the outline's centroid [m].
    east, north : rise of the plane eastwards and northwards [m/m].
    cut, fill : batters around it, upwards where it is dug in, downwards where it is heaped up.
    digs, heaps : False leaves ground above, or below, the plane as it is.

    Raises
    ------
    ValueError
        If the outline is not a valid polygon or a batter is negative.
    """

    element_id: str
    outline: shapely.Polygon
    level_m: float
    east: float = 0.0
    north: float = 0.0
    cut: float = 2.0
    fill: float = 2.0
    digs: bool = True
    heaps: bool = True

    def __post_init__(self) -> None:
        check_polygon(self.element_id, self.outline)
        check_not_negative(self.element_id, cut=self.cut, fill=self.fill)

    @property
    def core(self) -> shapely.Geometry:
        """The outline."""
        return self.outline

    @property
    def through(self) -> bool:
        """It is brought to one plane."""
        return True

    @property
    def settlement(self) -> float:
        """None: it is rolled as it is built."""
        return 0.0

    @property
    def core_reach_m(self) -> float:
        """None: the batters begin at the outline."""
        return 0.0

    def plane_at(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Level of the plane at points [m]."""
        middle = self.outline.centroid
        return np.asarray(self.level_m + self.east * (x - middle.x) + self.north * (y - middle.y))

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64], reach_m: float) -> Levels:
        """Plane inside the outline, batters outside it."""
        out = outwards(self.outline, x, y)
        past = np.maximum(out, 0)
        plane = self.plane_at(x, y)
        near = out <= reach_m
        dug = np.where(near & self.digs, plane + rise_over(past, self.cut), np.inf)
        heaped = np.where(near & self.heaps, plane - rise_over(past, self.fill), -np.inf)
        return Levels(dug, heaped)
