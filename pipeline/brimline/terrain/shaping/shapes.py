"""What is dug and what is heaped up: shapes that give a level for every point near them.

Batters are run per rise. Along a line, offsets are positive to the left of its direction, so a
swale drawn with its upper side to the left has its ditch at positive and its mound at negative
offsets. Levels along a line are given at chainages and are straight in between.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
import shapely

from brimline.terrain.shaping import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Levels(NamedTuple):
    """Levels that a shape asks for at points, float64 (points,) [m].

    Parameters
    ----------
    dug : nothing stays above it; infinite where nothing is dug.
    heaped : nothing stays below it; minus infinite where nothing is heaped up.
    """

    dug: NDArray[np.float64]
    heaped: NDArray[np.float64]


class LevelsAt(Protocol):
    """Levels of a surface at points."""

    def __call__(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Level at each point, NaN where there is none [m]."""
        ...


class GroundShape(Protocol):
    """Something that changes the ground."""

    @property
    def element_id(self) -> str:
        """Element that it belongs to."""
        ...

    @property
    def core(self) -> shapely.Geometry:
        """Line or polygon that it is built around."""
        ...

    @property
    def through(self) -> bool:
        """Whether what it digs also goes through its own heaps."""
        ...

    @property
    def core_reach_m(self) -> float:
        """Distance from the core within which it always has a say [m]."""
        ...

    @property
    def settlement(self) -> float:
        """Share of their height over the ground by which its heaps are built higher."""
        ...

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64], reach_m: float) -> Levels:
        """Levels at points; none beyond `reach_m` from the core."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class LevelAlong:
    """A level by chainage: level, graded, or with any breaks of grade.

    Parameters
    ----------
    chainage_m : float (knots,), rising [m].
    level_m : float (knots,) [m]; kept beyond the first and last knot.

    Raises
    ------
    ValueError
        If the two differ in length or the chainages do not rise.
    """

    chainage_m: tuple[float, ...]
    level_m: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.chainage_m) != len(self.level_m) or not self.level_m:
            raise ValueError(
                f"a level by chainage needs as many levels as chainages, got {len(self.level_m)} "
                f"and {len(self.chainage_m)}"
            )
        if (np.diff(self.chainage_m) <= 0).any() or not np.isfinite(self.level_m).all():
            raise ValueError("chainages must rise and levels must be finite numbers")

    @classmethod
    def flat(cls, level_m: float) -> LevelAlong:
        """Return one level all along."""
        return cls((0.0,), (level_m,))

    @classmethod
    def graded(cls, from_level_m: float, to_level_m: float, length_m: float) -> LevelAlong:
        """Return an even fall from the line's start to its end."""
        return cls((0.0, length_m), (from_level_m, to_level_m))

    def at(self, chainage_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Level at chainages [m]."""
        return np.asarray(np.interp(chainage_m, self.chainage_m, self.level_m))


def beside(
    line: shapely.LineString, x: NDArray[np.float64], y: NDArray[np.float64], reach_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Where points lie beside a line.

    Parameters
    ----------
    x, y : float64 (points,) [m]
    reach_m : points farther from the line get NaN [m].

    Returns
    -------
    chainage, across, beyond : float64 (points,) [m]
        Distance along the line to the nearest place on it; distance to its side, positive to the
        left; and how far past an end, 0 beside the line.
    """
    chainage, across, beyond = np.empty(x.shape), np.empty(x.shape), np.empty(x.shape)
    corners = shapely.get_coordinates(shapely.remove_repeated_points(line))
    _kernels.beside(
        np.ascontiguousarray(x, dtype=np.float64), np.ascontiguousarray(y, dtype=np.float64),
        corners, float(reach_m), chainage, across, beyond,
    )  # fmt: skip
    return chainage, across, beyond


def outwards(
    outline: shapely.Polygon, x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance of points to an outline, negative inside [m]."""
    nearest = np.full(x.shape, np.inf)
    one = np.empty(x.shape)
    x, y = np.ascontiguousarray(x, dtype=np.float64), np.ascontiguousarray(y, dtype=np.float64)
    for ring in (outline.exterior, *outline.interiors):
        _kernels.to_ring(x, y, shapely.get_coordinates(ring), one)
        np.minimum(nearest, one, out=nearest)
    return np.asarray(np.where(shapely.contains_xy(outline, x, y), -nearest, nearest))


def slant(
    off: NDArray[np.float64], beyond: NDArray[np.float64], half_m: float, left: float, right: float
) -> NDArray[np.float64]:
    """Height between a strip and points beside it, both sides and the ends at their batters."""
    past = np.maximum(np.abs(off) - half_m, 0)
    sideways = np.where(off > 0, rise_over(past, left), rise_over(past, right))
    return np.asarray(np.hypot(sideways, rise_over(beyond, min(left, right))))


def rise_over(run_m: NDArray[np.float64], batter: float) -> NDArray[np.float64]:
    """Rise over a run at a batter; a batter of 0 is a wall."""
    return run_m / max(batter, 1e-6)


def check_line(element_id: str, line: shapely.LineString) -> None:
    """Refuse what is no line with a length, by ValueError."""
    if line.geom_type != "LineString" or not line.length > 0:
        raise ValueError(f"{element_id}: its line must be a LineString with a length")


def check_polygon(element_id: str, outline: shapely.Polygon) -> None:
    """Refuse what is no valid polygon with an area, by ValueError."""
    if outline.geom_type != "Polygon" or not outline.is_valid or not outline.area > 0:
        raise ValueError(f"{element_id}: its outline must be a valid polygon with an area")


def check_not_negative(element_id: str, **sizes: float) -> None:
    """Refuse sizes below 0 or not finite, by ValueError."""
    for name, size in sizes.items():
        if not (np.isfinite(size) and size >= 0):
            raise ValueError(f"{element_id}: {name} must be 0 or more, got {size}")
